"""A PDF's pages and paragraphs, and the caution that each of them carries."""

from __future__ import annotations

import datetime as dt
from functools import lru_cache
from typing import IO, Any
from xml.sax.saxutils import escape

from reportlab import rl_config
from reportlab.lib.colors import CMYKColor
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import BaseDocTemplate, Frame, PageTemplate, Paragraph

from bible.colour.press import PressCondition
from bible.models import Series
from guides.paper.ruled import BLACK, fonts

rl_config.useA85 = 0  # pictures as bytes, not as text: a quarter smaller, and half the time of a booklet

MARGIN = 15 * mm
WHITE = CMYKColor(0, 0, 0, 0)

SHORT_CAUTION = "The codes count; a screen is not a proof: the house’s own proof decides."


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


def paged(
    out: IO[bytes], *, title: str, series: Series, press: PressCondition, made_at: dt.datetime | None = None
) -> BaseDocTemplate:
    """A4 pages for a story; every page names the title, the moment, the press condition and the caution."""
    document = BaseDocTemplate(
        out, pagesize=A4, title=title, author=series.title, subject=press.title, invariant=True
    )
    width, height = A4
    frame = Frame(MARGIN, MARGIN + 8 * mm, width - 2 * MARGIN, height - 2 * MARGIN - 8 * mm, 0, 0, 0, 0)
    made = f" · made {made_at:%Y-%m-%d %H:%M %Z}" if made_at else ""

    def footer(canvas: Any, _: Any) -> None:
        canvas.setFont(fonts()[0], 6.5)
        canvas.setFillColor(BLACK)
        canvas.drawString(MARGIN, MARGIN, f"{title}{made}")
        canvas.drawRightString(width - MARGIN, MARGIN, str(canvas.getPageNumber()))
        canvas.drawString(MARGIN, MARGIN - 8, f"Press condition: {press.title}. {SHORT_CAUTION}")

    document.addPageTemplates([PageTemplate(frames=[frame], onPage=footer)])
    return document


CAUTION = (
    "The codes count, not the paint and not a screen: no screen is a proof. "
    "What prints is judged on the house’s own proof before the run."
)
