"""The demo's pages for tests: drawn once for all tests, runs and databases, until something that draws them changes."""

from __future__ import annotations

import fcntl
import hashlib
import pickle
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from bible.models import Series
from guides.demo.artist.gallery import FinishedPage, drawn_pages
from guides.demo.load import load_demo
from guides.demo.story.plot import demo_story
from guides.demo.story.story import Story

BASE_DIR = Path(__file__).parents[1]
DRAWN_BY = ("guides/demo", "bible/colour", "guides/imaging")
"""Folders whose modules a page's picture, marks and proof follow from."""


def drawn_by() -> str:
    """Stands for everything that draws: another one, other pages."""
    told = hashlib.sha256()
    for folder in DRAWN_BY:
        for path in sorted((BASE_DIR / folder).rglob("*.py")):
            told.update(path.read_bytes())
    return told.hexdigest()[:24]


def kept_pages(folder: Path) -> list[FinishedPage]:
    """The whole story's pages, from ``folder`` if they were drawn before. Who comes meanwhile waits and takes them."""
    kept = folder / f"{drawn_by()}.pickle"
    with (folder / "drawing").open("w") as turn:
        fcntl.flock(turn, fcntl.LOCK_EX)
        if not kept.exists():
            for old in folder.glob("*.pickle"):
                old.unlink()
            half = kept.with_suffix(".half")
            half.write_bytes(pickle.dumps(list(drawn_pages(demo_story()))))
            half.rename(kept)
        return list(pickle.loads(kept.read_bytes()))


def whole_demo(cache: Any) -> Callable[[], Series]:
    """For ``built_once``: loads the demo from kept pages. ``cache`` is pytest's own (``config.cache``)."""

    def drawn(story: Story) -> Iterator[FinishedPage]:
        pages = {(page.page.issue, page.page.label): page for page in kept_pages(cache.mkdir("demo-pages"))}
        return (pages[page.issue, page.label] for page in story.pages)

    return lambda: load_demo(lambda line: None, drawn)
