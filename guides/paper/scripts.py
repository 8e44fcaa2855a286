"""Names of every script as they are set on a line: from the left or the right (UAX 9), in a font that has their
letters, joined and placed as that font says.

python-bidi orders, HarfBuzz shapes (through ReportLab's own binding to it). Here is only what joins the two.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby, pairwise
from typing import Any

from bidi import algorithm
from reportlab.lib.abag import ABag
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import ShapedStr, TTFont, shapeFragWord

ORDERED = frozenset({"R", "AL", "AN", "RLE", "RLO", "RLI", "LRE", "LRO", "LRI"})
"""Directions of Unicode (UAX 9) that a line cannot be set by from the left, letter by letter."""

PLACED = frozenset({"Mn", "Mc"})
"""Signs that stand on, beneath or before another one: where, only the font knows."""

UNIT = 1000.0
"""Size in which a run is measured, as fonts in PDF are."""


@dataclass(frozen=True, slots=True)
class SetRun:
    """A piece of a line in one font, in the order in which it is set.

    Attributes:
        written: its letters in the order in which they are read.
        glyphs: what is set: ReportLab's text with HarfBuzz' places, or the letters themselves.
        from_right: whether it is read from the right: programs turn what they find there themselves.
    """

    font: str
    written: str
    glyphs: str
    from_right: bool

    @property
    def width(self) -> float:
        if isinstance(self.glyphs, ShapedStr):
            return float(sum(glyph.x_advance for glyph in vars(self.glyphs)["__shapeData__"]))
        return float(TTFont.stringWidth(truetype(self.font), self.glyphs, UNIT))

    @property
    def is_said(self) -> bool:
        """Whether who reads the signs as they stand reads what is written: then nothing has to be said beside it."""
        return self.from_right or str(self.glyphs) == self.written


def truetype(name: str) -> Any:
    """A font of ours by its name, with what the stubs say that no font has."""
    return pdfmetrics.getFont(name)


@lru_cache(maxsize=8192)
def is_simple(sign: str) -> bool:
    """Whether it stands for itself, behind the sign before it."""
    return unicodedata.bidirectional(sign) not in ORDERED and unicodedata.category(sign) not in PLACED


@lru_cache(maxsize=4096)
def runs(text: str, font_of: Callable[[str], str]) -> tuple[SetRun, ...]:
    """The line's pieces from the left to the right; ``font_of`` names the font for a letter."""
    signs = _in_order(text)
    fonts = _fonts(text, font_of)
    words = _words(text)
    made = []
    for (_, font, level), group in groupby(signs, key=lambda sign: (words[sign[0]], fonts[sign[0]], sign[1])):
        written = "".join(text[at] for at in sorted(at for at, _ in group))
        from_right = bool(level % 2)
        made.append(SetRun(font, written, _shaped(written, font, from_right=from_right), from_right))
    return tuple(made)


def _in_order(text: str) -> list[tuple[int, int]]:
    """Place in the text and level (UAX 9) of every sign, from the left to the right of the line.

    Our pages are written from the left; a line that has no such letter at all is a name or a note of its own.
    """
    base = 0 if any(unicodedata.bidirectional(sign) == "L" for sign in text) else algorithm.get_base_level(text)
    storage: dict[str, Any] = algorithm.get_empty_storage()
    storage |= {"base_level": base, "base_dir": ("L", "R")[base]}
    algorithm.get_embedding_levels(text, storage)
    for at, sign in enumerate(storage["chars"]):
        sign["at"] = at
    algorithm.explicit_embed_and_overrides(storage)
    if storage["chars"]:
        algorithm.resolve_weak_types(storage)
        algorithm.resolve_neutral_types(storage, False)
        algorithm.resolve_implicit_levels(storage, False)
        algorithm.reorder_resolved_levels(storage, False)
    return [(sign["at"], sign["level"]) for sign in storage["chars"]]


def _words(text: str) -> list[int]:
    """Which word each sign is of: letters are joined within a word, and spaces are found between them."""
    numbers, number = [], 0
    for at, sign in enumerate(text):
        if at and sign.isspace() != text[at - 1].isspace():
            number += 1
        numbers.append(number)
    return numbers


def _fonts(text: str, font_of: Callable[[str], str]) -> list[str]:
    """A font for each sign; a sign that stands on another one is set in that one's."""
    fonts: list[str] = []
    for sign in text:
        leans = fonts and unicodedata.category(sign) in PLACED | {"Cf"}
        fonts.append(fonts[-1] if leans else font_of(sign))
    return fonts


def _shaped(written: str, font: str, *, from_right: bool) -> str:
    if all(is_simple(sign) for sign in written):
        return _mirrored(written) if from_right else written
    face = truetype(font)
    if any(sign.isalpha() and ord(sign) not in face.face.charToGlyph for sign in written):
        return written  # nobody has it: the font notes that
    shaped: str = shapeFragWord([0.0, (ABag(fontName=font, fontSize=UNIT), written)], force=True)[1][1]
    face.letters |= _letters(shaped, written)
    return shaped


def _letters(shaped: Any, written: str) -> dict[int, str]:
    """What each glyph stands for that is of no letter alone: a joined form, several letters in one."""
    starts = [glyph.cluster for glyph in shaped.__shapeData__]
    ends = dict(pairwise([*sorted(set(starts)), len(written)]))
    return {
        ord(sign): written[start : ends[start]]
        for sign, start in zip(str(shaped), starts, strict=True)
        if starts.count(start) == 1 and _is_a_form(sign)
    }


def _is_a_form(sign: str) -> bool:
    """Whether it is no letter that anybody writes: a joined form, or a glyph that Unicode has no number for."""
    return unicodedata.category(sign) == "Co" or not unicodedata.is_normalized("NFKC", sign)


def _mirrored(written: str) -> str:
    """Signs alone, as brackets are, that stand in words from the right: HarfBuzz sees nothing of those words."""
    storage = {"chars": [{"ch": sign, "level": 1, "type": "ON", "orig": "ON"} for sign in reversed(written)]}
    algorithm.apply_mirroring(storage, False)
    return "".join(str(sign["ch"]) for sign in storage["chars"])
