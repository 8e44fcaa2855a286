"""A palette for the programs that people paint and lay pages out in.

Where a form can hold ink, it holds the percentages as ordered; where it holds screen colours only, they are computed
for one press condition, and a name says the percentages. A screen is not a proof.
"""

from __future__ import annotations

import datetime as dt
import re
import struct
import xml.etree.ElementTree as ET
from dataclasses import dataclass

from bible.colour.press import PressCondition
from bible.colour.tints import INKS, Tint
from bible.exports.tables import CAUTION


@dataclass(frozen=True, slots=True)
class NamedPalette:
    """What a file of a palette is made from.

    Attributes:
        title: of the series and the run.
        named: each tint's code and the tint, in order.
        press: the condition that screen colours are computed for.
        made_at: when this was true, with a time zone.
    """

    title: str
    named: tuple[tuple[str, Tint], ...]
    press: PressCondition
    made_at: dt.datetime

    @property
    def tints(self) -> list[Tint]:
        return [tint for _, tint in self.named]

    @property
    def hexes(self) -> list[str]:
        """sRGB as six hexadecimal digits after a #, in the order of the tints."""
        return self.press.hexes(self.tints)

    @property
    def told(self) -> str:
        return f"sRGB computed for {self.press.title}. {CAUTION}"


COLUMNS = 8
"""Swatches in a row where a program asks: two rows a step of a chart of 64."""

COLOUR_ENTRY = 0x0001
PROCESS = 2
"""Kinds of an entry and of a colour in a swatch exchange file: 0 is “global”, 1 “spot”."""


def xml_text(text: str) -> str:
    """Without what no XML 1.0 document may hold (production 2, Char), not even escaped."""
    return re.sub("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", "", text)


def on_one_line(text: str) -> str:
    return " ".join(xml_text(text).split())


def in_inks(tint: Tint) -> str:
    """“C25 M50 Y100”; bare paper is “no ink”."""
    return " ".join(f"{ink.upper()}{getattr(tint, ink)}" for ink in INKS if getattr(tint, ink)) or "no ink"


def hex_list(palette: NamedPalette) -> bytes:
    """Plain text, a colour a line: sRGB as six hexadecimal digits after a #, a tab, the code.

    No program's own form; whatever reads lines of hexadecimal colours reads it. Lines that begin with ``;`` are
    notes.
    """
    lines = [f"; {on_one_line(palette.title)}: sRGB computed for {on_one_line(palette.press.title)}", f"; {CAUTION}"]
    lines += [f"{value}\t{on_one_line(code)}" for (code, _), value in zip(palette.named, palette.hexes, strict=True)]
    return ("\n".join(lines) + "\n").encode()


def css_list(palette: NamedPalette) -> bytes:
    """Custom properties (W3C, CSS Custom Properties for Cascading Variables Module Level 1), named by percentages."""
    heading = f"{palette.title}: {palette.told}".replace("*/", "* /")
    lines = [f"/* {on_one_line(heading)} */", ":root {"]
    for (code, tint), value in zip(palette.named, palette.hexes, strict=True):
        name = on_one_line(code.replace("*/", "* /"))
        lines.append(f"  --tint-c{tint.c}-m{tint.m}-y{tint.y}-k{tint.k}: {value}; /* {name} */")
    return ("\n".join([*lines, "}"]) + "\n").encode()


def gpl(palette: NamedPalette) -> bytes:
    """The text palette that GIMP, Inkscape and Krita read: sRGB in 0…255, a tab, the name, which says the inks too.

    Form: “GIMP Palette File Format”, developer.gimp.org/core/standards/gpl. UTF-8.
    """
    lines = ["GIMP Palette", f"Name: {on_one_line(palette.title)}", f"Columns: {COLUMNS}"]
    lines += [f"# sRGB computed for {on_one_line(palette.press.title)}", f"# {CAUTION}"]
    for (code, tint), value in zip(palette.named, palette.hexes, strict=True):
        red, green, blue = (int(value[at : at + 2], 16) for at in (1, 3, 5))
        lines.append(f"{red:3} {green:3} {blue:3}\t{on_one_line(code)} ({in_inks(tint)})")
    return ("\n".join(lines) + "\n").encode()


def ase(palette: NamedPalette) -> bytes:
    """A swatch exchange file with the percentages as ordered, as process colours.

    Signature, version 1.0 and the number of entries, then a colour each: kind, length, name (UTF-16, counted, with a
    zero behind it), colour model, four numbers 0…1, kind of colour; all numbers with the high byte first. The form is
    published by nobody but its readers (from memory; read back by “swatch” from PyPI in the tests).
    """
    entries = []
    for code, tint in palette.named:
        name = (on_one_line(code) + "\0").encode("utf-16-be")
        shares = (getattr(tint, ink) / 100 for ink in INKS)
        colour = struct.pack(">H", len(name) // 2) + name + b"CMYK" + struct.pack(">4fH", *shares, PROCESS)
        entries.append(struct.pack(">HI", COLOUR_ENTRY, len(colour)) + colour)
    return b"ASEF" + struct.pack(">HHI", 1, 0, len(entries)) + b"".join(entries)


def scribus(palette: NamedPalette) -> bytes:
    """A colour list in XML for Scribus: CMYK in percent, and once more as eight hexadecimal digits, which is what
    releases before 1.5 read (from memory of its own files)."""
    root = ET.Element("SCRIBUSCOLORS", Name=on_one_line(palette.title))
    root.append(ET.Comment(f" {CAUTION.replace('--', '-')} "))
    for code, tint in palette.named:
        percentages = {ink.upper(): str(getattr(tint, ink)) for ink in INKS}
        digits = "".join(f"{(getattr(tint, ink) * 255 + 50) // 100:02x}" for ink in INKS)
        attributes = {
            "NAME": on_one_line(code),
            "SPACE": "CMYK",
            **percentages,
            "CMYK": f"#{digits}",
            "Spot": "0",
            "Register": "0",
        }
        ET.SubElement(root, "COLOR", attributes)
    ET.indent(root, " ")
    return ET.tostring(root, encoding="utf-8", xml_declaration=True)
