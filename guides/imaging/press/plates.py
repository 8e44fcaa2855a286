"""A page's plates as they print: each ink alone, or several laid over each other, in true halftone.

Dots are drawn at the ruling and the angles of the press condition, as large as its dot gain makes them, in the
colours of its solids and overprints. Line art is solid on the key plate. A screen is not a proof; whoever shows this
names the press condition.

Whole pages in true halftone at four pixels a screen line, drawn when asked for; the areas are found once for all
plates of a page. Dots have their effective size: they are compared with proofs, where dot gain has happened.
"""

from __future__ import annotations

import io
from collections.abc import Sequence

import cv2
import numpy as np
import numpy.typing as npt

from bible.colour.halftone import BAND, dots, mixed, overprints, thresholds
from bible.colour.press import PressCondition
from bible.colour.tints import INKS
from guides.imaging.press.printed import Separation

PAGE_INCHES = 10.0
"""Long side of the printed page: comic pages print a little over ten inches high (common practice, no source)."""

LINE_PIXELS = 4.0
"""Pixels a screen line: dots are then plainly round, and a page at 65 lines an inch is 2,600 px high."""

MOST_PIXELS = 4000
"""Long side at most: finer screens get fewer pixels a line, 2.3 at 175 an inch, where dots still stand alone."""

JPEG_QUALITY = 75


def long_side(press: PressCondition) -> int:
    """Pixels of a plate's long side."""
    return min(MOST_PIXELS, round(LINE_PIXELS * press.ruling_lpi * PAGE_INCHES))


def plate_picture(separation: Separation, press: PressCondition, inks: Sequence[int]) -> npt.NDArray[np.uint8]:
    """sRGB (h, w, 3) of some inks, numbers in the order of ``INKS``, on the condition's paper.

    Raises:
        ValueError: no ink, or one twice.
    """
    if not inks or len(set(inks)) != len(inks):
        raise ValueError("a plate holds one ink or several different ones")
    rows, columns = separation.which.shape
    side = long_side(press)
    height, width = (max(1, round(n * side / max(rows, columns))) for n in (rows, columns))
    line = side / PAGE_INCHES / press.ruling_lpi
    from_row, from_column = (np.arange(n) * m // n for n, m in ((height, rows), (width, columns)))
    outlines = thresholds(press.effective_coverage(separation.table).coverage / 100.0, line)
    art = cv2.resize(separation.line, (width, height), interpolation=cv2.INTER_LINEAR) if 3 in inks else None
    colours = overprints(press, inks, relative=False)
    picture = np.empty((height, width, 3), np.uint8)
    for top in range(0, height, BAND):
        here = np.arange(top, min(top + BAND, height))
        which = separation.which[from_row[here]][:, from_column]
        covers = []
        for ink in inks:
            cover = dots(outlines[:, ink][which], press.angles[INKS[ink]], line, width, here)
            if ink == 3 and art is not None:
                cover = np.maximum(cover, art[here])
            covers.append(cover)
        picture[here] = mixed(covers, colours)
    return picture


def plate_jpeg(picture: npt.NDArray[np.uint8]) -> bytes:
    """As JPEG with full chroma: dots of different inks must not run into each other."""
    from PIL import Image

    out = io.BytesIO()
    Image.fromarray(picture).save(out, "JPEG", quality=JPEG_QUALITY, subsampling=0)
    return out.getvalue()
