"""Pages of the demo printed and scanned: the plates of a drawn page, with what the separator got wrong on them.

A simulation for trying the proof desk out, not for judging it: one screen an ink, inks a little off one another,
a sheet not quite straight on the glass. Rulings, angles and faults follow common practice (no source).
"""

from __future__ import annotations

import io
from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image

from bible.colour import press as presses
from bible.colour.halftone import BAND, dots, mixed, overprints, thresholds
from bible.colour.press import DEFAULT_PRESS
from bible.colour.tints import INKS, PAPER, Tint, as_array

SCALE = 1.25
"""Pixels of the scan per pixel of the guide: 216 to an inch on a page 10.4 inches high."""
PAGE_INCHES = 10.4

LARGE = 4000
"""Pixels of a guide that an area needs to be among the faults picked by size: nobody would miss it in print."""

MISREGISTER = 0.9
"""Standard deviation, in pixels of the scan, of each ink's place on the sheet: 0.1 mm."""


@dataclass(frozen=True)
class Plates:
    """What a drawn page holds for the separator.

    ``areas`` (h, w) area numbers; ``ink`` (h, w) line art 0-255; ``tints`` what each number's code calls for;
    ``parts`` the part that each marked number belongs to ("" for backgrounds).
    """

    areas: npt.NDArray[np.uint16]
    ink: npt.NDArray[np.uint8]
    tints: tuple[Tint, ...]
    parts: dict[int, str]


@dataclass(frozen=True, slots=True)
class Mishaps:
    """What goes wrong on one page: parts that lose an ink, so many areas left bare, so many cut too weak."""

    drops: tuple[tuple[str, str], ...] = (("scarf", "c"),)
    bare: int = 1
    weak: int = 1


PROOFS: dict[tuple[str, str], Mishaps] = {
    ("5", "4"): Mishaps(),
    ("9", "2"): Mishaps(bare=0),
    ("24", "22"): Mishaps(bare=2),
}
"""Issue and page of the proofs that have come in, over the years, so that a habit shows."""


def faulty(plates: Plates, mishaps: Mishaps) -> dict[int, Tint]:
    """Area number to the tint that was cut for it instead."""
    wrong: dict[int, Tint] = {}
    for number, part in plates.parts.items():
        for name, ink in mishaps.drops:
            if part == name and getattr(plates.tints[number], ink):
                wrong[number] = replace(plates.tints[number], **{ink: 0})
    sizes = np.bincount(plates.areas.ravel(), minlength=len(plates.tints))
    left = [number for number, part in plates.parts.items() if part and number not in wrong]
    large = sorted(
        (n for n in left if sizes[n] >= LARGE and plates.tints[n].total_ink >= 75), key=lambda n: -sizes[n]
    )
    for number in large[: mishaps.bare]:
        wrong[number] = PAPER
    full = [n for n in large if n not in wrong and max(plates.tints[n].c, plates.tints[n].m) == 100]
    for number in full[: mishaps.weak]:
        ink = "c" if plates.tints[number].c == 100 else "m"
        wrong[number] = replace(plates.tints[number], **{ink: 50})
    return wrong


def proof_jpeg(plates: Plates, wrong: dict[int, Tint], rng: np.random.Generator) -> bytes:
    """The scan of the printed page as JPEG."""
    table = as_array([wrong.get(number, tint) for number, tint in enumerate(plates.tints)])
    scan = _scanned(_printed(plates, table, rng), rng)
    out = io.BytesIO()
    Image.fromarray(scan).save(out, "JPEG", quality=84)
    return out.getvalue()


def _printed(plates: Plates, table: npt.NDArray[np.float64], rng: np.random.Generator) -> npt.NDArray[np.uint8]:
    press = presses.load(DEFAULT_PRESS)
    height, width = (round(side * SCALE) for side in plates.areas.shape)
    line = height / PAGE_INCHES / press.ruling_lpi
    outlines = thresholds(press.effective_coverage(table).coverage / 100.0, line)
    colours = overprints(press, range(4), relative=False)
    labels, levels = [], []
    for ink in range(3):
        dx, dy = rng.normal(0, MISREGISTER, 2)
        move = np.array([[SCALE, 0, dx], [0, SCALE, dy]])
        labels.append(cv2.warpAffine(plates.areas, move, (width, height), flags=cv2.INTER_NEAREST))
        levels.append(outlines[:, ink])
    key = cv2.resize(plates.ink, (width, height), interpolation=cv2.INTER_LINEAR).astype(np.float32) / 255
    sheet = np.empty((height, width, 3), np.uint8)
    for top in range(0, height, BAND):
        rows = np.arange(top, min(top + BAND, height))
        covers = [
            dots(levels[ink][labels[ink][rows]], press.angles[INKS[ink]], line, width, rows) for ink in range(3)
        ]
        sheet[rows] = mixed([*covers, key[rows]], colours)
    return sheet


def _scanned(sheet: npt.NDArray[np.uint8], rng: np.random.Generator) -> npt.NDArray[np.uint8]:
    """On the glass: a degree askew, softened, grainy, with a border of the scanner's lid."""
    height, width = sheet.shape[:2]
    pad = round(0.02 * height)
    centre = (width / 2, height / 2)
    turn = cv2.getRotationMatrix2D(centre, float(rng.uniform(-1.2, 1.2)), 1.0)
    turn[:, 2] += pad
    size = (width + 2 * pad, height + 2 * pad)
    lid = (238, 236, 233)
    laid = cv2.warpAffine(sheet, turn, size, flags=cv2.INTER_LINEAR, borderValue=lid)
    soft = cv2.GaussianBlur(laid, (0, 0), 0.6).astype(np.int16)
    grain = rng.integers(-5, 6, (512, 512, 3), dtype=np.int16)
    tiled = np.tile(grain, (size[1] // 512 + 1, size[0] // 512 + 1, 1))[: size[1], : size[0]]
    return np.asarray(np.clip(soft + tiled, 0, 255), np.uint8)
