"""The map of a page on which it is known where writing stands: what is written bounds no area."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from guides.imaging.page.files import PageFileError, load_page
from guides.imaging.page.page_map import PageMap
from guides.imaging.page.reading import read_page_map
from guides.imaging.writing.crops import Picture, Place
from guides.imaging.writing.finder import find
from guides.imaging.writing.models import WritingModelError, models


def map_page(
    rgb: Picture,
    *,
    dpi: float | None = None,
    page_mm: tuple[float, float] | None = None,
    places: Sequence[Place] | None = None,
) -> PageMap:
    """The map of a page; without the networks that find writing it is made as if nobody had looked for it.

    Args:
        rgb: the upright scan, uint8 sRGB (h, w, 3).
        dpi, page_mm: as for ``read_page_map``, with its errors.
        places: all writing on the page, where it has been found already.
    """
    if places is None:
        try:
            places = [word.place for word in find(models().finder, rgb)]
        except WritingModelError:
            return read_page_map(rgb, dpi=dpi, page_mm=page_mm)
    return read_page_map(rgb, dpi=dpi, page_mm=page_mm, words=[place.corners() for place in places])


def map_of_file(path: Path, **size: Any) -> PageMap:
    """The map of a page's file; ``size`` as ``map_page`` takes it.

    Raises:
        PageFileError: see ``load_page``.
        ValueError: the size is none.
    """
    image, (width, height) = load_page(path)
    page = map_page(image, **size)
    if (width, height) != page.size:
        raise PageFileError(f"{path.name}: decoded at another size than it has")
    return page
