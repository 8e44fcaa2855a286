"""Words on paper, in key alone."""

from __future__ import annotations

from functools import lru_cache
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import Paragraph

from guides.paper.fonts import fonts
from guides.paper.ruled import BLACK
from guides.paper.tagging import Element, marked


@lru_cache(maxsize=64)
def _style(size: float, *, bold: bool = False, before: float = 0.0) -> ParagraphStyle:
    return ParagraphStyle(
        f"{size}{bold}",
        fontName=fonts()[bold],
        fontSize=size,
        leading=size * 1.3,
        textColor=BLACK,
        spaceBefore=before,
        spaceAfter=2,
    )


class TaggedParagraph(Paragraph):
    """A paragraph or heading; its pieces on two pages are one."""

    element: Element | None

    def split(self, width: float, height: float) -> Any:  # ReportLab's name
        pieces: list[Any] = super().split(width, height)
        for piece in pieces:
            piece.element = self.element
        return pieces

    def draw(self) -> None:
        if self.element is None:
            super().draw()
            return
        with marked(self.canv, self.element):
            super().draw()


def _kind(words: str, size: float, *, bold: bool, before: float) -> str:
    """What is set as a heading is one; a sentence is none, however large."""
    if not bold or words.endswith(".") or (size < 10 and not (size >= 9 and before)):
        return "P"
    return "H1" if size >= 13 else "H2" if size >= 11 else "H3"


def paragraph(words: str, size: float = 8, *, bold: bool = False, before: float = 0.0) -> TaggedParagraph:
    made = TaggedParagraph(escape(words), _style(size, bold=bold, before=before))
    made.element = Element(_kind(words, size, bold=bold, before=before)) if words.strip() else None
    return made
