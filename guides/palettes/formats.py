"""The forms in which a palette leaves, in one list: addresses, buttons and types of content follow from it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from guides.palettes.cxf import cxf3
from guides.palettes.sheet_pictures import png, svg
from guides.palettes.swatch_files import NamedPalette, ase, css_list, gpl, hex_list, scribus


@dataclass(frozen=True, slots=True)
class PaletteFormat:
    """A form of file.

    Attributes:
        ending: of the file's name.
        words: on its button.
        has_inks: whether it holds the percentages as figures; else screen colours only.
        write: the palette to the file.
    """

    ending: str
    words: str
    content_type: str
    has_inks: bool
    write: Callable[[NamedPalette], bytes]


PALETTE_FORMATS = {
    one.ending: one
    for one in (
        PaletteFormat("cxf", "CxF3 (ISO 17972-1)", "application/xml", True, cxf3),
        PaletteFormat("ase", "Swatch exchange (.ase)", "application/octet-stream", True, ase),
        PaletteFormat("xml", "Scribus colours (.xml)", "application/xml", True, scribus),
        PaletteFormat("gpl", "GIMP, Inkscape, Krita (.gpl)", "text/plain; charset=utf-8", False, gpl),
        PaletteFormat("txt", "sRGB list (text)", "text/plain; charset=utf-8", False, hex_list),
        PaletteFormat("css", "sRGB list (CSS)", "text/css; charset=utf-8", False, css_list),
        PaletteFormat("svg", "Sheet (SVG)", "image/svg+xml", False, svg),
        PaletteFormat("png", "Sheet (PNG)", "image/png", False, png),
    )
}


class PaletteFormatConverter:
    """An ending in an address; one that no form has is no address."""

    regex = "|".join(PALETTE_FORMATS)

    def to_python(self, value: str) -> PaletteFormat:
        return PALETTE_FORMATS[value]

    def to_url(self, value: PaletteFormat | str) -> str:
        return value if isinstance(value, str) else value.ending
