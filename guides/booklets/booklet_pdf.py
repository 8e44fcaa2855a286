"""The booklet: a first page, the contents, and every subject's sheet on pages of its own, set in one pass."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from typing import IO

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Frame, PageBreak, Spacer

from bible.web.names import counted
from guides.booklets.queries import Book
from guides.booklets.sheet_pdf import INK_NOTE, Pictures, cut_pictures, sheet_story
from guides.paper.fonts import fonts
from guides.paper.page import CAUTION, paged
from guides.paper.paragraphs import paragraph
from guides.paper.ruled import BLACK, width_of
from guides.paper.sizes import A4, Size
from guides.paper.tagging import Element, marked

LINES = 54
COLUMNS = 2
LINE = 4.3 * mm
"""Contents: two columns of small lines, 108 subjects a page, on the shorter paper too."""

GAP = 8 * mm
SIZE = 8


class Contents(Flowable):
    """A page of contents. Its lines are set last, when the page numbers are known: PDF forms may be used before."""

    def __init__(self, form: str, width: float) -> None:
        super().__init__()
        self.form = form
        self.width, self.height = width, LINES * LINE

    def wrap(self, *_: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        with marked(self.canv, Element("P")):
            self.canv.doForm(self.form)


class Begins(Flowable):
    """The place where a subject's sheet begins: notes its page, and reports how far the booklet is.

    The sheet itself is made here and not before, so that one subject's at a time is in memory.
    """

    _frame: Frame
    """Where it is being drawn: ReportLab sets it meanwhile."""

    def __init__(self, at: int, name: str, pages: list[int], story: Callable[[int], list[Flowable]]) -> None:
        super().__init__()
        self.at, self.name, self.pages, self.story = at, name, pages, story

    def wrap(self, *_: float) -> tuple[float, float]:
        return 0, 0

    def draw(self) -> None:
        self.pages.append(self.canv.getPageNumber())
        key = f"subject-{self.at}"
        self.canv.bookmarkPage(key)
        self.canv.addOutlineEntry(self.name, key)
        self._frame.add_generated_content(*self.story(self.at))


class SetContents(Flowable):
    """Behind everything else: sets the lines of the contents."""

    def __init__(self, names: Sequence[str], pages: Sequence[int], width: float) -> None:
        super().__init__()
        self.names, self.pages, self.across = names, pages, width

    def wrap(self, *_: float) -> tuple[float, float]:
        return 0, 0

    def draw(self) -> None:
        lines = list(zip(self.names, self.pages, strict=True))
        for number, first in enumerate(range(0, len(lines), LINES * COLUMNS)):
            self.canv.beginForm(_form(number), 0, 0, self.across, LINES * LINE)
            self.canv.setFillColor(BLACK)
            for at, (name, page) in enumerate(lines[first : first + LINES * COLUMNS]):
                self._line(name, page, *divmod(at, LINES))
            self.canv.endForm()

    def _line(self, name: str, page: int, column: int, row: int) -> None:
        wide = (self.across - GAP) / COLUMNS
        left, y = column * (wide + GAP), (LINES - row - 1) * LINE + 1
        self.canv.setFont(fonts()[0], SIZE)
        self.canv.drawString(left, y, _fitting(name, wide - 12 * mm))
        self.canv.drawRightString(left + wide, y, str(page))


def _form(number: int) -> str:
    return f"contents-{number}"


def _fitting(name: str, wide: float) -> str:
    """The name, cut short with an ellipsis where it is wider than its column."""
    if width_of(name, SIZE) <= wide:
        return name
    while name and width_of(f"{name}…", SIZE) > wide:
        name = name[:-1]
    return f"{name}…"


def write_booklet(
    book: Book, made_at: dt.datetime, out: IO[bytes], report: Callable[[int], None], size: Size = A4
) -> None:
    """Write the booklet to a binary file; ``report`` hears how many ``steps`` are done, and may raise to stop."""
    with cut_pictures(book, report) as pictures:
        document = paged(out, title=_title(book), series=book.series, press=book.press, made_at=made_at, size=size)
        document.write(_story(book, report, pictures, document.room[0]))


def steps(book: Book) -> int:
    """Steps that making the booklet takes: every picture cut, every subject set."""
    return _picture_count(book) + len(book.sheets)


def _picture_count(book: Book) -> int:
    return sum(1 for sheet in book.sheets if sheet.crop)


def _title(book: Book) -> str:
    return f"{book.series.title}: colour bible, {book.as_of}"


def _story(book: Book, report: Callable[[int], None], pictures: Pictures, width: float) -> list[Flowable]:
    names = [sheet.subject.name for sheet in book.sheets]
    story: list[Flowable] = [
        paragraph(book.series.title, 22, bold=True),
        paragraph(f"Colour bible {book.as_of}", 14, bold=True),
        paragraph(counted(len(names), "subject"), 10),
        Spacer(0, 6 * mm),
        paragraph(f"Press condition: {book.press.title} ({book.press.source})", 9),
        paragraph(INK_NOTE, 9),
        paragraph(CAUTION, 9, bold=True),
    ]
    if book.also_written:
        story.append(paragraph(f"Also written: {'; '.join(book.also_written)}.", 9))
    for number in range(-(-len(names) // (LINES * COLUMNS))):
        story += [PageBreak(), paragraph("Contents", 13, bold=True), Contents(_form(number), width)]
    pages: list[int] = []
    cut = _picture_count(book)

    def story_of(at: int) -> list[Flowable]:
        report(cut + at)
        return sheet_story(book, book.sheets[at], pictures)

    for at, name in enumerate(names):
        story += [PageBreak(), Begins(at, name, pages, story_of)]
    if names:
        story.append(SetContents(names, pages, width))
    return story
