"""A piece of a picture for paper, with a ring around what it is about."""

from __future__ import annotations

import io
from typing import Any

from PIL import Image as Pillow
from PIL import ImageDraw
from reportlab.lib.units import mm
from reportlab.platypus import Image

from guides.paper.tagging import Element, marked

CROP = 0.05
"""Half side of a crop in page heights."""
CROP_SIDE = 19 * mm
CROP_PIXELS = 230
"""About 300 dpi at the size printed."""
RING, RING_LINE = 0.2, 0.015
"""Of the ring: its radius and its line, in sides of the crop. What it rings stays free."""
JPEG_QUALITY = 88


class PaperCrop(Image):
    """A picture that says what it shows."""

    def __init__(self, file: io.BytesIO, alt: str) -> None:
        super().__init__(file, CROP_SIDE, CROP_SIDE)
        self.element = Element("Figure", alt)

    def draw(self) -> None:
        with marked(self.canv, self.element):
            super().draw()


def crop_around(picture: Pillow.Image, x: float, y: float, alt: str) -> Image:
    """The piece around a place (fractions of the picture) as it is put on paper; beyond the edges it is black.
    ``alt``: what it shows."""
    width, height = picture.size
    half = CROP * max(width, height)
    piece = picture.crop(
        (
            round(x * width - half), round(y * height - half),
            round(x * width + half), round(y * height + half),
        )
    )  # fmt: skip
    piece.thumbnail((CROP_PIXELS, CROP_PIXELS))
    _ring(piece)
    out = io.BytesIO()
    piece.save(out, "JPEG", quality=JPEG_QUALITY)
    out.seek(0)
    return PaperCrop(out, alt)


def _ring(crop: Any) -> None:
    """Around the middle, white beside black, so that it is seen on every colour."""
    pen, (width, height) = ImageDraw.Draw(crop), crop.size
    line = max(1, round(RING_LINE * min(width, height)))
    for reach, colour in ((RING, "white"), (RING + RING_LINE, "black")):
        radius = reach * min(width, height)
        box = (width / 2 - radius, height / 2 - radius, width / 2 + radius, height / 2 + radius)
        pen.ellipse(box, outline=colour, width=line)
