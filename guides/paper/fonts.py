"""The paper's fonts, which note what they cannot set."""

from __future__ import annotations

import unicodedata
from functools import lru_cache
from typing import Any
from weakref import WeakKeyDictionary

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont

_FROM_THE_RIGHT = ("R", "AL")
"""Directions of Unicode's letters (UAX 9) that would have to be joined and turned, which nothing here does."""

UNSET: WeakKeyDictionary[Any, set[str]] = WeakKeyDictionary()
"""By document, what its font could not set."""


class NotingFont(TTFont):
    """Notes the letters that it has no glyph for, or would set in the wrong order."""

    def splitString(self, text: str, doc: Any, encoding: str = "utf-8") -> Any:  # ReportLab's name
        if not text.isascii():
            glyphs = self.face.charToGlyph
            unset = {sign for sign in text if not sign.isspace() and _is_unset(sign, glyphs)}
            if unset:
                UNSET.setdefault(doc, set()).update(unset)
        return super().splitString(text, doc, encoding)


def _is_unset(sign: str, glyphs: dict[int, int]) -> bool:
    return ord(sign) not in glyphs or unicodedata.bidirectional(sign) in _FROM_THE_RIGHT


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
