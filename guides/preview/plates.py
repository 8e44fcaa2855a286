"""A page's plates as pictures, kept beside its print until a mark, the press or the scan changes."""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

from bible.colour.tints import INK_NAMES, INKS
from bible.series.presses import condition
from bible.web.digest import digest
from guides.core.page_maps import map_of
from guides.core.pictures import forget_others
from guides.imaging.press.plates import plate_jpeg, plate_picture
from guides.imaging.press.printed import Separation, separated
from guides.models import Guide, Mark
from guides.preview.prints import area_of, painted, state_key

LAID_DOWN = "ymck"
"""The order in which inks are laid down: yellow first, key last (common practice, no source)."""

VERSION = 1
"""Of the way plates are drawn; raise it and every kept one is drawn anew."""


@dataclass(frozen=True, slots=True)
class PlateView:
    """One ink, or the inks laid down so far, by their letters in that order."""

    inks: str

    @property
    def title(self) -> str:
        names = [INK_NAMES[ink] for ink in self.inks]
        return f"{names[0]} plate" if len(names) == 1 else " + ".join(names)


SINGLE = tuple(PlateView(ink) for ink in LAID_DOWN)
STACKED = tuple(PlateView(LAID_DOWN[:n]) for n in range(2, len(LAID_DOWN) + 1))
PLATES = {plate.inks: plate for plate in (*SINGLE, *STACKED)}


@dataclass(frozen=True, slots=True)
class KeptPlate:
    """``key`` names this state of the page; ``name`` is where the picture lies in the storage."""

    key: str
    name: str


def plate_of(guide: Guide, plate: PlateView) -> KeptPlate:
    """The plate as the guide's marks are now; drawn where there is none yet, which takes some seconds."""
    press = condition(guide.series, guide.issue.press)
    areas = [area_of(mark) for mark in Mark.objects.filter(guide=guide, deleted_at=None).order_by("number")]
    key = digest(f"{VERSION} {state_key(guide, areas, press)}")
    folder = f"plates/{guide.series_id}/{guide.pk}"
    name = f"{folder}/{key}-{plate.inks}.jpg"
    if not default_storage.exists(name):
        cut = f"{folder}/{key}.npz"
        if not default_storage.exists(cut):
            _keep(cut, separated(painted(guide), areas, map_of(guide))[0])
            forget_others(folder, key)
        picture = plate_picture(_kept(cut), press, [INKS.index(ink) for ink in plate.inks])
        if not default_storage.exists(name):
            default_storage.save(name, ContentFile(plate_jpeg(picture)))
    return KeptPlate(key, name)


def _keep(name: str, separation: Separation) -> None:
    """What all plates of a page share, so that finding the areas is paid for once."""
    out = io.BytesIO()
    line = np.round(separation.line * 255).astype(np.uint8)
    np.savez_compressed(out, table=separation.table, which=separation.which.astype(np.uint16), line=line)
    if not default_storage.exists(name):
        default_storage.save(name, ContentFile(out.getvalue()))


def _kept(name: str) -> Separation:
    with default_storage.open(name) as file, np.load(io.BytesIO(file.read())) as kept:
        return Separation(kept["table"], kept["which"], kept["line"].astype(np.float32) / 255)
