"""A table file as rows of text: CSV in several encodings, and workbooks. No Django in here."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from bible.exports.cells import unguarded
from guides.imports.encodings import decoded
from guides.imports.formats import WORKBOOKS
from guides.imports.questions import NO_ANSWERS, Answers, Question
from guides.imports.sheets import LaidRow, Likely, laid_out
from guides.imports.text_tables import drawn_rows, is_drawn, is_web_page, web_rows
from guides.imports.texts import tidy
from guides.imports.workbooks import MOST_LINES, UnreadableTable, read_workbook

MOST_BYTES = 10_000_000
"""Of a file: a table of a hundred thousand short rows."""
MOST_ROWS = 50_000
"""Rows with something in them. The whole bible of a long series has some 5,000, a year's marks 20,000."""
MOST_COLUMNS = 60
LONGEST_CELL = 2_000
MOST_EMPTY_COLUMNS = 16_384
"""Cells of one line, empty ones included: a workbook's whole width (Office Open XML: columns A to XFD)."""

DELIMITERS = ",;\t|"
WEB = "The file is a web page: the tables on it were read, one below the other."
DRAWN = "The table is drawn with bars: its rules, and stars and ticks around words, are left out."


@dataclass(frozen=True, slots=True)
class GridRow:
    """One line: ``line`` counts from 1 as the person's own program shows it; ``formulas`` and ``struck`` (through)
    are columns from 0."""

    line: int
    cells: tuple[str, ...]
    formulas: frozenset[int] = frozenset()
    struck: frozenset[int] = frozenset()

    def cell(self, column: int | None) -> str:
        return self.cells[column] if column is not None and column < len(self.cells) else ""


@dataclass(frozen=True, slots=True)
class Grid:
    """Rows with something in them, top to bottom. ``notices`` tell what was assumed while reading; ``questions`` are
    what the file leaves open; ``fills`` (line, column, colour) are cells painted behind their text; ``text`` is the
    whole of a file that is text, for lines that are no table."""

    rows: tuple[GridRow, ...]
    notices: tuple[str, ...] = ()
    questions: tuple[Question, ...] = ()
    fills: tuple[tuple[int, int, str], ...] = ()
    text: str = ""

    @property
    def width(self) -> int:
        return max((len(row.cells) for row in self.rows), default=0)


def read_table(data: bytes, filename: str, answers: Answers = NO_ANSWERS, likely: Likely | None = None) -> Grid:
    """The rows of a file.

    Args:
        data: the file's bytes.
        filename: what it is called; only its meaning to people is used, the bytes decide what it is.
        answers: what somebody said to ``Grid.questions``.
        likely: whether the first rows of a sheet are of the kind of table that is wanted.

    Raises:
        UnreadableTable: too large, not a table, a damaged file.
    """
    if len(data) > MOST_BYTES:
        raise UnreadableTable(f"The file is larger than {MOST_BYTES // 1_000_000} MB: split it.")
    if data.startswith(WORKBOOKS):
        laid = laid_out(read_workbook(data, MOST_ROWS), answers, likely)
        return Grid(tuple(_bounded(_laid_rows(laid.rows))), laid.notices, laid.questions, laid.fills)
    return _read_csv(data, answers)


def _laid_rows(rows: Iterable[LaidRow]) -> Iterator[GridRow]:
    for row in rows:
        yield GridRow(row.line, tuple(map(tidy, row.cells)), row.formulas, row.struck)


def _read_csv(data: bytes, answers: Answers) -> Grid:
    text, notices, questions = decoded(data, answers)
    if "\0" in text:
        raise UnreadableTable("This is no text: save the table as CSV in UTF-8, or as .xlsx.")
    _refuse_endless(text)
    if text[:4].casefold() == "sep=" and len(text) > 5:  # how one spreadsheet program says its delimiter
        delimiter, text = text[4], "\n" + text[5:].lstrip("\r").removeprefix("\n")
    else:
        delimiter = _delimiter(text)
    if is_web_page(text) or is_drawn(text):
        lines = web_rows(text) if is_web_page(text) else drawn_rows(text)
        rows = _bounded(GridRow(line, tuple(map(_plain, cells))) for line, cells in lines)
        return Grid(tuple(rows), (*notices, WEB if is_web_page(text) else DRAWN), questions)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    return Grid(tuple(_bounded(_csv_rows(reader))), notices, questions, text=text)


def _refuse_endless(text: str) -> None:
    """Lines are counted before any is read: ten million empty ones fit into a file and hold no row, yet take a core
    for seconds each time the table is shown."""
    if text.count("\n") > MOST_LINES or text.count("\r") > MOST_LINES:
        raise UnreadableTable(f"The table goes on below line {MOST_LINES:,}: delete what is under it.")


def _delimiter(text: str) -> str:
    """The sign that cuts the first lines into the most columns, the same number in most of them."""
    sample = text[:20_000].splitlines()[:20]

    def score(sign: str) -> tuple[int, int]:
        try:
            widths = [len(row) for row in csv.reader(sample, delimiter=sign) if row]
        except csv.Error:
            return (0, 0)
        usual = max(set(widths), key=widths.count, default=1)
        return (widths.count(usual) if usual > 1 else 0, usual)

    return max(DELIMITERS, key=score)


def _csv_rows(reader: Any) -> Iterator[GridRow]:
    last = 0
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise UnreadableTable(
                f"Line {reader.line_num}: {error}. Save the table as CSV again, or as .xlsx."
            ) from error
        if len(cells) > MOST_EMPTY_COLUMNS:
            raise UnreadableTable(
                f"Line {last + 1} has more than {MOST_EMPTY_COLUMNS:,} columns, most of them empty."
            )
        # A cell may hold line breaks: the row is where it begins.
        if any(cells):
            yield GridRow(last + 1, tuple(_plain(cell) if cell else "" for cell in cells))
        last = reader.line_num


def _plain(cell: str) -> str:
    """A cell without the apostrophe that guards it against being taken for a formula, and without outer blanks."""
    return tidy(unguarded(cell.strip()))


def _bounded(rows: Iterable[GridRow]) -> Iterator[GridRow]:
    """The rows that hold something, without empty columns at their ends, refused where they are too many or large."""
    kept = 0
    for row in rows:
        width = max((at + 1 for at, cell in enumerate(row.cells) if cell or at in row.formulas), default=0)
        if not width:
            continue
        kept += 1
        if kept > MOST_ROWS:
            raise UnreadableTable(f"The table has more than {MOST_ROWS:,} rows: split it.")
        if width > MOST_COLUMNS:
            raise UnreadableTable(f"Line {row.line} has more than {MOST_COLUMNS} columns.")
        if any(len(cell) > LONGEST_CELL for cell in row.cells):
            raise UnreadableTable(f"Line {row.line} holds a cell of more than {LONGEST_CELL:,} signs.")
        yield replace(row, cells=row.cells[:width])
