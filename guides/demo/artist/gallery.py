"""All page guides of the demo at once, drawn by as many processes as there are cores to spare."""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context

import cv2
import numpy as np

from guides.demo.artist.drawing import PencilledMark, draw_page
from guides.demo.artist.presswork import PROOFS, faulty, proof_jpeg
from guides.demo.story.story import PageSpec, Story

MOST_WORKERS = 4
"""Each worker holds some 350 MB of brush textures and pages; more would not pay on a small machine."""


@dataclass(frozen=True, slots=True)
class FinishedPage:
    """A page guide ready to be stored: its spec, the picture as JPEG, its marks, and its proof where one came in."""

    page: PageSpec
    jpeg: bytes
    marks: tuple[PencilledMark, ...]
    proof: bytes | None = None


def drawn_pages(story: Story, *, workers: int | None = None) -> Iterator[FinishedPage]:
    """Draw every page of the story and yield them in order as they get ready.

    ``workers`` None takes the cores there are, up to ``MOST_WORKERS``; 1 draws in this process. The picture does not
    depend on who drew it.
    """
    count = min(workers or os.cpu_count() or 1, MOST_WORKERS, max(len(story.pages), 1))
    if count <= 1:
        for page in story.pages:
            yield _finish(page, story)
        return
    # spawned, not forked: the caller may hold database connections and threads
    with ProcessPoolExecutor(
        count, mp_context=get_context("spawn"), initializer=cv2.setNumThreads, initargs=(1,)
    ) as pool:
        yield from pool.map(_finish, story.pages, [story] * len(story.pages), chunksize=2)


def _finish(page: PageSpec, story: Story) -> FinishedPage:
    drawn = draw_page(page, story)
    mishaps = PROOFS.get((page.issue, page.label))
    proof = None
    if mishaps is not None:
        proof = proof_jpeg(drawn.plates, faulty(drawn.plates, mishaps), np.random.default_rng(page.seed))
    return FinishedPage(page, drawn.jpeg(), drawn.marks, proof)
