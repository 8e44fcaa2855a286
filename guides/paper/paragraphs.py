"""Words on paper, in key alone."""

from __future__ import annotations

from functools import lru_cache
from xml.sax.saxutils import escape

from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import Paragraph

from guides.paper.fonts import fonts
from guides.paper.ruled import BLACK


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


def paragraph(words: str, size: float = 8, *, bold: bool = False, before: float = 0.0) -> Paragraph:
    return Paragraph(escape(words), _style(size, bold=bold, before=before))
