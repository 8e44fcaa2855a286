"""A PDF's pages and paragraphs, and the caution that each of them carries."""

from __future__ import annotations

import datetime as dt
import tempfile
from pathlib import Path
from typing import IO, Any

from reportlab import rl_config
from reportlab.lib.colors import CMYKColor
from reportlab.lib.units import mm
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageBreak, PageTemplate

from bible.colour.press import PressCondition
from bible.models import Series
from guides.paper.canvas import TaggedCanvas
from guides.paper.finishing import AboutDocument, finish
from guides.paper.fonts import fonts
from guides.paper.letters import UnsetLetters
from guides.paper.ruled import BLACK
from guides.paper.sizes import A4, Size
from guides.paper.tagging import artifact

rl_config.useA85 = 0  # pictures as bytes, not as text: a quarter smaller, and half the time of a booklet

MARGIN = 15 * mm

WHITE = CMYKColor(0, 0, 0, 0)

SHORT_CAUTION = "The codes count; a screen is not a proof: the house’s own proof decides."


class PaperDocument(BaseDocTemplate):
    """Pages for a story, with what the file says of itself."""

    def __init__(self, out: IO[bytes], about: AboutDocument, size: Size = A4) -> None:
        first = fonts()[0]  # else every page names a font that is not in the file
        super().__init__(
            out, pagesize=size, title=about.title, author=about.author, invariant=True, initialFontName=first
        )
        self.out, self.about = out, about

    @property
    def room(self) -> tuple[float, float]:
        """Width and height in points of what a story fills on each page."""
        width, height = self.pagesize
        return width - 2 * MARGIN, height - 2 * MARGIN - 8 * mm

    def write(self, story: list[Flowable]) -> None:
        with tempfile.NamedTemporaryFile(suffix=".pdf") as raw:  # with a name: pikepdf reads it several times as fast
            self.filename = raw
            # A break at the end makes no page unless something follows.
            ends = len(story) - 1 if story and isinstance(story[-1], PageBreak) else len(story)
            self.build([*story[:ends], UnsetLetters()], canvasmaker=TaggedCanvas)
            raw.flush()
            finish(Path(raw.name), self.out, self.about)


def paged(
    out: IO[bytes],
    *,
    title: str,
    series: Series,
    press: PressCondition,
    made_at: dt.datetime,
    state: str = "",
    size: Size = A4,
) -> PaperDocument:
    """Pages for a story, A4 where no other size in points is asked for.

    Every page names the title, the moment, the press condition and the caution.

    Args:
        state: what everybody who holds a page must know of the whole, as “NOT SIGNED OFF”; at the foot of each page.
    """
    document = PaperDocument(out, AboutDocument(title, series.title, press.title, press, made_at), size)
    width = size[0]
    frame = Frame(MARGIN, MARGIN + 8 * mm, *document.room, 0, 0, 0, 0)

    def footer(canvas: Any, _: Any) -> None:
        with artifact(canvas):
            canvas.setFont(fonts()[0], 7)
            canvas.setFillColor(BLACK)
            canvas.drawString(MARGIN, MARGIN, f"{title} · made {made_at:%Y-%m-%d %H:%M %Z}")
            canvas.drawRightString(width - MARGIN, MARGIN, str(canvas.getPageNumber()))
            canvas.drawString(MARGIN, MARGIN - 8, f"Press condition: {press.title}. {SHORT_CAUTION}")
            if state:
                canvas.setFont(fonts()[1], 7)  # on a line of its own: beside the caution the two would overprint
                canvas.drawString(MARGIN, MARGIN + 9, state)

    document.addPageTemplates([PageTemplate(frames=[frame], onPage=footer)])
    return document


CAUTION = (
    "The codes count, not the paint and not a screen: no screen is a proof. "
    "What prints is judged on the house’s own proof before the run."
)
