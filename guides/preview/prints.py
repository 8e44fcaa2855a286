"""A guide as the press would print it, kept beside its pictures until a mark, the press or the scan changes."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass

import numpy as np
import numpy.typing as npt
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from PIL import Image

from bible.colour.press import PressCondition
from bible.colour.tints import INK_NAMES, INKS, Tint
from bible.series.presses import condition
from bible.web.digest import digest
from guides.core.page_maps import map_of
from guides.core.pictures import forget_others
from guides.imaging.press.neighbours import Sinking, sinking
from guides.imaging.press.printed import Area, PrintedPage, printed_page
from guides.models import Guide, Mark

LONG_SIDE = 1800
"""Of the printed picture: enough for a screen; a page of 15 megapixels then takes about a second."""

VERSION = 6
"""Of the way it is made; raise it and every kept print is made anew."""


@dataclass(frozen=True, slots=True)
class Print:
    """What is known of a guide's print.

    Attributes:
        key: names this state of the page; another key, another picture.
        name: where the picture lies in the storage.
        coverage: percent of the page per ink, in the order of ``INKS``.
        heaviest: the largest total ink of a marked area, percent.
        unmarked: percent of the page that is painted and has no mark.
        sinking: marked areas that touch and print look-alike, worst first.
    """

    key: str
    name: str
    coverage: tuple[float, ...]
    heaviest: int
    unmarked: float
    sinking: tuple[Sinking, ...]

    @property
    def total(self) -> float:
        return sum(self.coverage)

    @property
    def inks(self) -> list[tuple[str, float]]:
        return [(INK_NAMES[ink], percent) for ink, percent in zip(INKS, self.coverage, strict=True)]


def print_of(guide: Guide) -> Print:
    """The guide's print as its marks are now; made where there is none yet, which takes about a second."""
    press = condition(guide.series, guide.issue.press)
    marks = list(Mark.objects.filter(guide=guide, deleted_at=None).order_by("number"))
    areas = [area_of(mark) for mark in marks]
    key = state_key(guide, areas, press)
    folder = f"printed/{guide.series_id}/{guide.pk}"
    name = f"{folder}/{key}.jpg"
    facts = f"{folder}/{key}.json"
    if not (default_storage.exists(name) and default_storage.exists(facts)):
        _make(guide, marks, areas, press, name, facts)
        forget_others(folder, key)
    with default_storage.open(facts) as file:
        stored = json.loads(file.read())
    stored["coverage"] = tuple(stored["coverage"])
    stored["sinking"] = tuple(Sinking(**pair) for pair in stored["sinking"])
    return Print(key, name, **stored)


def area_of(mark: Mark) -> Area:
    tint, to_tint = (tint if isinstance(tint, Tint) else None for tint in (mark.tint, mark.to_tint))
    if mark.is_gradient and to_tint is None:
        tint = None
    return Area(mark.x, mark.y, tint, to_tint, mark.arrow_end)


def state_key(guide: Guide, areas: list[Area], press: PressCondition) -> str:
    """Names the state of a page that its print and its plates are made of."""
    content = [VERSION, guide.sha256, str(guide.screen), press.name, press.source, [asdict(area) for area in areas]]
    return digest(json.dumps(content, default=str))


def _make(guide: Guide, marks: list[Mark], areas: list[Area], press: PressCondition, name: str, facts: str) -> None:
    page: PrintedPage = printed_page(painted(guide), areas, press, map_of(guide))
    numbers, parts = [mark.number for mark in marks], [mark.part_id for mark in marks]
    pairs = sinking(page.regions, [area.tint for area in areas], numbers, press, parts)
    stored = {
        "coverage": page.coverage,
        "heaviest": page.heaviest,
        "unmarked": round(100 * page.unmarked, 2),
        "sinking": [asdict(pair) for pair in pairs],
    }
    for path, data in ((name, page.jpeg()), (facts, json.dumps(stored).encode())):
        if not default_storage.exists(path):
            default_storage.save(path, ContentFile(data))


def painted(guide: Guide) -> npt.NDArray[np.uint8]:
    """The guide's picture as prints and plates are made from it: RGB, at most ``LONG_SIDE`` long."""
    with guide.screen.open("rb") as file, Image.open(file) as opened:
        opened.draft("RGB", (LONG_SIDE, LONG_SIDE))
        picture = opened.convert("RGB")
    picture.thumbnail((LONG_SIDE, LONG_SIDE), Image.Resampling.BOX)
    return np.asarray(picture)
