"""The map of a guide's picture, kept beside it: made once when the guide comes in, read by everything after.

A map is of one picture and of today's way of making maps. A new scan is a guide of its own with a map of its own;
where a map is missing, damaged or of an earlier way it is made on the spot, so nobody has to wait for the background.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from PIL import Image

from bible.web.digest import digest
from guides.core.pictures import forget_others
from guides.imaging.page.outlines import outlines
from guides.imaging.page.page_map import VERSION, MapError, PageMap
from guides.imaging.writing.mapping import map_page
from guides.models import Guide

Pixels = npt.NDArray[np.uint8]


def map_key(guide: Guide) -> str:
    """Names a guide's picture and today's way of making maps: another key, another map."""
    return digest(f"{VERSION} {guide.screen}")


def map_of(guide: Guide, picture: Pixels | None = None) -> PageMap:
    """The kept map of a guide; made and kept where there is none that holds, which takes about a second.

    Args:
        picture: what ``screen_pixels`` gives, where it is at hand.

    Raises:
        OSError: the picture is missing or damaged.
    """
    kept = kept_map(guide)
    return kept if kept is not None else _make(guide, screen_pixels(guide) if picture is None else picture)


def kept_map(guide: Guide) -> PageMap | None:
    """The map as it lies in the storage; None where there is none that can be used."""
    try:
        with default_storage.open(_name(guide)) as file:
            return PageMap.from_bytes(file.read())
    except (FileNotFoundError, MapError):
        return None


def keep_map(guide: Guide) -> bool:
    """Make a guide's map unless it is there. Returns whether it was made."""
    if default_storage.exists(_name(guide)):
        return False
    _make(guide, screen_pixels(guide))
    return True


def without_map(guides: Iterable[Guide]) -> list[Guide]:
    """Those of some guides that have no map of today's way."""
    return [guide for guide in guides if not default_storage.exists(_name(guide))]


def outlines_of(guide: Guide) -> bytes:
    """The outlines of a guide's areas for a browser (see ``guides.imaging.page.outlines``), kept beside its map.

    Raises:
        OSError: the picture is missing or damaged.
    """
    name = f"{_folder(guide)}/{map_key(guide)}.json"
    try:
        with default_storage.open(name) as file:
            return bytes(file.read())
    except FileNotFoundError:
        drawn = outlines(map_of(guide))
    if not default_storage.exists(name):
        default_storage.save(name, ContentFile(drawn))
    return drawn


def screen_pixels(guide: Guide) -> Pixels:
    """The picture that maps are made of and paint is read from, sRGB (h, w, 3). ``OSError`` where it is missing or
    damaged."""
    with guide.screen.open("rb") as file, Image.open(file) as opened:
        return np.asarray(opened.convert("RGB"))


def _make(guide: Guide, picture: Pixels) -> PageMap:
    made, name = map_page(picture), _name(guide)
    default_storage.delete(name)  # one that is damaged
    default_storage.save(name, ContentFile(made.to_bytes()))
    forget_others(_folder(guide), map_key(guide))
    return made


def _folder(guide: Guide) -> str:
    return f"maps/{guide.series_id}/{guide.pk}"


def _name(guide: Guide) -> str:
    return f"{_folder(guide)}/{map_key(guide)}.npz"
