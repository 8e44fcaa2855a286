"""The paper's fonts: one for most names, others for letters that it does not have, and what none of them can set.

ReportLab sets outlines of TrueType only, so a font of PostScript outlines (most of those for Chinese and Japanese) is
passed over as if it were not there.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any
from weakref import WeakKeyDictionary

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont

from guides.paper.scripts import UNIT, is_simple, runs, truetype

OTHERS = (
    "fonts-japanese-gothic.ttf",
    "DroidSansFallbackFull.ttf",
    "NanumGothic.ttf",
    "Lohit-Devanagari.ttf",
    *(f"NotoSans{script}-Regular.ttf" for script in ("Devanagari", "Arabic", "Hebrew", "Thai", "Bengali", "Tamil")),
)
"""Files that are looked for, in this order, where the paper's own font lacks a letter. Japanese comes before the font
that has most of Chinese and Korean too, for a sign that both write is drawn differently."""

DEBIAN = "fonts-dejavu-core fonts-ipafont-gothic fonts-droid-fallback fonts-nanum fonts-lohit-deva"
"""Packages of Debian that have the paper's own and the first four."""

SAMPLES = {
    "Cyrillic": "Ж",
    "Arabic": "ع",
    "Hebrew": "ש",
    "Japanese": "渡あ",
    "Chinese": "汉",
    "Korean": "한",
    "Devanagari": "अ",
}
"""A letter or two that tell whether a script can be set."""

_ROW = re.compile(r"^(<\w\w>) <(\w{4,})>$", re.MULTILINE)
"""A line of ReportLab's table of signs: number in the font, letter."""

UNSET: WeakKeyDictionary[Any, set[str]] = WeakKeyDictionary()
"""By document, what no font here could set."""


class PaperFont(TTFont):
    """A font whose joined letters are read as letters, and are as wide in the file as in the font."""

    hbAddPrivate: Any
    letters: dict[int, str]
    """What a sign stands for that joining letters has put there."""

    def __init__(self, name: str, file: str) -> None:
        super().__init__(name, file)
        self.letters = {}

    def addObjects(self, doc: Any) -> None:  # ReportLab's name
        """Says in the file what each sign stands for (ISO 32000-1, 9.10.3): of letters ReportLab has said it."""
        known = set(doc.idToObject)
        super().addObjects(doc)
        for name in set(doc.idToObject) - known:
            if name.startswith("toUnicodeCMap:"):
                doc.idToObject[name].content = _ROW.sub(self._read_as, doc.idToObject[name].content)

    def _read_as(self, row: re.Match[str]) -> str:
        letters = self.letters.get(int(row[2], 16))
        return f"{row[1]} <{letters.encode('utf-16-be').hex().upper()}>" if letters else row[0]

    def hbFont(self, fontSize: float = 10) -> Any:  # ReportLab's names
        font = super().hbFont(fontSize)
        add = self.hbAddPrivate
        self.hbAddPrivate = lambda name, glyph, advance: add(name, glyph, self.pdfScale(advance))
        return font


class NotingFont(PaperFont):
    """The font of a page: measures a line with what it borrows, and notes the letters that nobody has."""

    def splitString(self, text: str, doc: Any, encoding: str = "utf-8") -> Any:  # ReportLab's name
        if not text.isascii():
            unset = {sign for sign in text if not sign.isspace() and ord(sign) not in self.face.charToGlyph}
            if unset:
                UNSET.setdefault(doc, set()).update(unset)
        return super().splitString(text, doc, encoding)

    def stringWidth(self, text: str, size: float, encoding: str = "utf8") -> float:  # ReportLab's name
        if self.sets_alone(text):
            return float(super().stringWidth(text, size, encoding))
        return sum(run.width for run in runs(text, self.font_of)) * size / UNIT

    def sets_alone(self, text: Any) -> bool:
        """Whether letter behind letter is right, in this font: so are nearly all lines."""
        if not isinstance(text, str) or text.isascii():
            return True
        glyphs = self.face.charToGlyph
        return all(is_simple(sign) and (ord(sign) in glyphs or other_font(sign) is None) for sign in text)

    def font_of(self, sign: str) -> str:
        has = ord(sign) in self.face.charToGlyph or sign.isspace()
        return self.fontName if has else other_font(sign) or self.fontName


@lru_cache(maxsize=8192)
def other_font(sign: str) -> str | None:
    """The first of the other fonts that has the letter."""
    if sign.isspace():
        return None
    return next((name for file in OTHERS if (name := _loaded(file)) and _has(name, sign)), None)


def _has(name: str, sign: str) -> bool:
    return ord(sign) in truetype(name).face.charToGlyph


@lru_cache(maxsize=len(OTHERS))
def _loaded(file: str) -> str | None:
    name = file.removesuffix(".ttf")
    try:
        pdfmetrics.registerFont(PaperFont(name, file))
    except TTFError:
        return None
    return name


@lru_cache(maxsize=1)
def fonts() -> tuple[str, str]:
    """Plain and bold. DejaVu where it is installed, for names in many alphabets; else ReportLab's Vera."""
    for plain, bold in (("DejaVuSans", "DejaVuSans-Bold"), ("Vera", "VeraBd")):
        try:
            for name in (plain, bold):
                pdfmetrics.registerFont(NotingFont(name, f"{name}.ttf"))
        except TTFError:
            continue
        return plain, bold
    return "Helvetica", "Helvetica-Bold"


def unset_scripts() -> list[str]:
    """Scripts of which no name can be set on this machine."""
    first = pdfmetrics.getFont(fonts()[0])
    if not isinstance(first, NotingFont):
        return list(SAMPLES)
    return [script for script, letters in SAMPLES.items() if not all(_sets(first, letter) for letter in letters)]


def _sets(first: NotingFont, letter: str) -> bool:
    return ord(letter) in first.face.charToGlyph or other_font(letter) is not None
