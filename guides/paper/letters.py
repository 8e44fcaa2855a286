"""Letters that the paper's font cannot set: noted while a document is written, and named on its last page.

A box, or a word of Arabic letter by letter from the left, is worse than no word: who reads it believes it.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from typing import Any
from weakref import WeakKeyDictionary

from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus.doctemplate import ActionFlowable

_FROM_THE_RIGHT = ("R", "AL")
"""Directions of Unicode's letters (UAX 9) that would have to be joined and turned, which nothing here does."""

_UNSET: WeakKeyDictionary[Any, set[str]] = WeakKeyDictionary()
"""By document."""


class NotingFont(TTFont):
    """Notes the letters that it has no glyph for, or would set in the wrong order."""

    def splitString(self, text: str, doc: Any, encoding: str = "utf-8") -> Any:  # ReportLab's name
        if not text.isascii():
            glyphs = self.face.charToGlyph
            unset = {sign for sign in text if not sign.isspace() and _is_unset(sign, glyphs)}
            if unset:
                _UNSET.setdefault(doc, set()).update(unset)
        return super().splitString(text, doc, encoding)


def _is_unset(sign: str, glyphs: dict[int, int]) -> bool:
    return ord(sign) not in glyphs or unicodedata.bidirectional(sign) in _FROM_THE_RIGHT


def scripts(signs: Iterable[str]) -> list[str]:
    """What alphabets they are of, by the first word of their Unicode names: “Arabic”, “Hiragana”, “CJK”."""
    names = {unicodedata.name(sign, "unnamed").split()[0].split("-")[0] for sign in signs}
    return sorted(name if name == "CJK" else name.capitalize() for name in names)


class UnsetLetters(ActionFlowable):
    """The last line of a document, with a page of its own where there is no room; nothing where all could be set."""

    def apply(self, doc: Any) -> None:
        from guides.paper.page import paragraph

        unset = _UNSET.get(doc.canv._doc, set())
        words = (
            f"Not set right here: letters of names ({', '.join(scripts(unset))}) that this document’s font does not "
            "have or would put in the wrong order. The screen shows them as they are."
        )
        left = [paragraph(words, 8, bold=True, before=4)] if unset else []
        while left:  # as ReportLab goes through a story
            doc.clean_hanging()
            doc.handle_flowable(left)
