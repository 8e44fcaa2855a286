"""A palette as one picture: every tint with its code and percentages, to pin up beside the desk or lay under a page.

Screen colours are computed for one press condition; the picture says which, and that no screen is a proof.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from xml.sax.saxutils import escape

from guides.palettes.swatch_files import COLUMNS, NamedPalette, in_inks, on_one_line

CELL, GAP, HEAD, FOOT = (150, 96), 14, 64, 54
"""Pixels of a swatch with the words below it, between two, above the first row and below the last."""

WORDS = 34
"""Pixels of a cell that are words: the code and its percentages."""

INK, PAPER, AIR = "#1a1a1a", "#ffffff", "#8a8a8a"
"""Words, ground, and the line round a swatch: paper white has no edge of its own."""


@dataclass(frozen=True, slots=True)
class PlacedSwatch:
    """Where one tint stands, in pixels from the top left corner, and what is written below it."""

    x: int
    y: int
    colour: str
    code: str
    inks: str


def _laid_out(palette: NamedPalette) -> Iterator[PlacedSwatch]:
    for at, ((code, tint), colour) in enumerate(zip(palette.named, palette.hexes, strict=True)):
        row, column = divmod(at, COLUMNS)
        x, y = GAP + column * (CELL[0] + GAP), HEAD + row * (CELL[1] + GAP)
        yield PlacedSwatch(x, y, colour, on_one_line(code), in_inks(tint))


def _size(palette: NamedPalette) -> tuple[int, int]:
    rows = max(1, -(-len(palette.named) // COLUMNS))
    return GAP + COLUMNS * (CELL[0] + GAP), HEAD + rows * (CELL[1] + GAP) + FOOT


def svg(palette: NamedPalette) -> bytes:
    """The sheet as SVG 1.1 (W3C): words stay words, colours are sRGB, its default."""
    width, height = _size(palette)
    pieces = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}"'
        f' font-family="sans-serif" font-size="13" fill="{INK}">',
        f"<title>{escape(on_one_line(palette.title))}</title>",
        f"<desc>{escape(palette.told)}</desc>",
        f'<rect width="{width}" height="{height}" fill="{PAPER}"/>',
        f'<text x="{GAP}" y="38" font-size="22" font-weight="bold">{escape(on_one_line(palette.title))}</text>',
    ]
    for swatch in _laid_out(palette):
        below = swatch.y + CELL[1] - WORDS
        pieces += [
            f'<rect x="{swatch.x}" y="{swatch.y}" width="{CELL[0]}" height="{CELL[1] - WORDS}" fill="{swatch.colour}"'
            f' stroke="{AIR}"/>',
            f'<text x="{swatch.x}" y="{below + 15}" font-weight="bold">{escape(swatch.code)}</text>',
            f'<text x="{swatch.x}" y="{below + 30}" font-size="11">{escape(swatch.inks)}</text>',
        ]
    pieces += [f'<text x="{GAP}" y="{height - 22}" font-size="12">{escape(palette.told)}</text>', "</svg>"]
    return "\n".join(pieces).encode()


def png(palette: NamedPalette) -> bytes:
    """The same sheet as PNG with the sRGB profile in it."""
    from PIL import Image, ImageCms, ImageDraw, ImageFont

    width, height = _size(palette)
    picture = Image.new("RGB", (width, height), PAPER)
    pen = ImageDraw.Draw(picture)

    def write(x: int, y: int, words: str, size: float) -> None:
        font: Any = ImageFont.load_default(size)
        pen.text((x, y), words, fill=INK, font=font, anchor="ls")

    write(GAP, 38, on_one_line(palette.title), 22)
    for swatch in _laid_out(palette):
        below = swatch.y + CELL[1] - WORDS
        pen.rectangle((swatch.x, swatch.y, swatch.x + CELL[0], below), fill=swatch.colour, outline=AIR)
        write(swatch.x, below + 16, swatch.code, 15)
        write(swatch.x, below + 31, swatch.inks, 11)
    write(GAP, height - 22, palette.told, 12)
    out = io.BytesIO()
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    picture.save(out, "PNG", icc_profile=profile, optimize=True)
    return out.getvalue()
