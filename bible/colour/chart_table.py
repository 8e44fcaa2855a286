"""The house's own chart as people type or upload it: a table of labels and percentages, read row by row.

A row is a label and the percentages of cyan, magenta, yellow and, if there is one, key. The first row may be
headings; then the columns may stand in any order. Bad rows are reported with their line, and the good ones
are kept.
"""

from __future__ import annotations

import codecs
import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass

from bible.colour.charts import MAX_TINTS, Chart
from bible.colour.notation import NotationError, read_percentage
from bible.colour.tints import INK_NAMES, INKS, Tint

MAX_BYTES = 1_000_000
"""A chart of 5,000 rows needs about 150 kB; more than this is another kind of file."""

MAX_ROWS = MAX_TINTS
MAX_LABEL = 80
MAX_ERRORS = 100
"""Errors listed by line; the rest are only counted, since they nearly always have the same cause."""

DELIMITERS = ("\t", ";", ",", "|")

HEADINGS = {
    "label": ("label", "code", "name", "tint", "swatch"),
    "c": ("c", "cyan", "b", "blue"),
    "m": ("m", "magenta", "r", "red"),
    "y": ("y", "yellow"),
    "k": ("k", "key", "black"),
}
"""Headings that are understood; the trade calls cyan blue and magenta red (common practice, no source)."""

USUAL_COLUMNS = {"label": 0, "c": 1, "m": 2, "y": 3, "k": 4}
"""Where the columns stand when there are no headings."""

_LINE_END = re.compile(r"\r\n|\r|\n")
_UNIT = re.compile(r"[\s_,]*(?:in )?(?:%|percent)\s*$", re.IGNORECASE)
"""Behind an ink's name in a heading, as the tables we write have it: “cyan_percent”."""

_COLUMN_OF = {heading: column for column, headings in HEADINGS.items() for heading in headings}


class ChartTableError(ValueError):
    """The text as a whole is no table of a chart; ``line`` (from 1) says where, when there is a place."""

    def __init__(self, message: str, line: int | None = None) -> None:
        super().__init__(message if line is None else f"line {line}: {message}")
        self.message = message
        self.line = line


@dataclass(frozen=True)
class Swatch:
    """One row: the label as written and the tint its percentages say; ``line`` counts from 1."""

    line: int
    label: str
    tint: Tint


@dataclass(frozen=True)
class LineError:
    """A row that can't be used; ``column`` is "label", an ink, or "" for the row as a whole."""

    line: int
    column: str
    message: str


@dataclass(frozen=True)
class ChartTable:
    """What was read. ``errors`` are the first ``MAX_ERRORS`` of ``error_count``."""

    swatches: tuple[Swatch, ...]
    errors: tuple[LineError, ...]
    error_count: int
    delimiter: str
    encoding: str
    has_headings: bool

    def chart(self, name: str, title: str) -> Chart:
        """The tints in the order of the rows, each once. ValueError when no row could be read."""
        return Chart.of(name, title, (swatch.tint for swatch in self.swatches))


def read_table(source: bytes | str) -> ChartTable:
    """Read a typed or uploaded chart.

    The delimiter (tab, semicolon, comma or bar) is the one that splits most rows; bytes may be UTF-8 or
    UTF-16 with a byte order mark, UTF-8 without, or else Windows-1252.

    Raises:
        ChartTableError: too large, not text, no rows, or headings without a needed column.
    """
    text, encoding = _decode(source)
    lines = _LINE_END.split(text)
    delimiter = _delimiter(lines)
    swatches: list[Swatch] = []
    errors: list[LineError] = []
    columns: dict[str, int] | None = None
    width = 0
    rows = 0
    for number, line in enumerate(lines, start=1):
        cells = _cells(line, delimiter)
        if cells is not None and not any(cells):
            continue
        rows += 1
        if rows > MAX_ROWS + (columns is not None):
            raise ChartTableError(f"a chart has at most {MAX_ROWS:,} rows", number)
        if cells is None:
            errors.append(LineError(number, "", "its quotation marks do not close"))
            continue
        if rows == 1 and (columns := _columns(number, cells)):
            width = len(cells)
            continue
        result = _swatch(number, cells, columns or USUAL_COLUMNS, width or len(USUAL_COLUMNS))
        if isinstance(result, Swatch):
            swatches.append(result)
        else:
            errors.append(result)
    if not swatches and not errors:
        raise ChartTableError("there are headings but no rows" if columns else "there is no row in this table")
    return ChartTable(
        tuple(swatches), tuple(errors[:MAX_ERRORS]), len(errors), delimiter, encoding, columns is not None
    )


def as_pasted(source: bytes | str) -> str:
    """The text of a table as ``read_table`` reads it, line for line. ChartTableError where it is none."""
    return _decode(source)[0]


def _decode(source: bytes | str) -> tuple[str, str]:
    size = len(source) if isinstance(source, bytes) else len(source.encode("utf-8", "surrogatepass"))
    if size > MAX_BYTES:
        raise ChartTableError(f"the table has {size:,} bytes; at most {MAX_BYTES:,} are read")
    if isinstance(source, str):
        text, encoding = source.removeprefix("\ufeff"), "text"
    elif source.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        text, encoding = _decoded(source, "utf-16"), "utf-16"
    else:
        try:
            text, encoding = source.decode("utf-8-sig"), "utf-8"
        except UnicodeDecodeError:
            text, encoding = _decoded(source, "cp1252"), "cp1252"
    if "\0" in text:
        raise ChartTableError("this is not text: it holds zero bytes", text[: text.index("\0")].count("\n") + 1)
    return text, encoding


def _decoded(source: bytes, encoding: str) -> str:
    try:
        return source.decode(encoding)
    except UnicodeDecodeError as error:
        line = source[: error.start].count(b"\n") + 1
        raise ChartTableError("this is not text in UTF-8, UTF-16 or Windows-1252", line) from None


def _delimiter(lines: Sequence[str]) -> str:
    """The delimiter that splits most lines into a label and three percentages or more; else a comma."""
    sample = [line for line in lines[:200] if line.strip()]
    scores = {mark: sum(3 <= line.count(mark) <= 8 for line in sample) for mark in DELIMITERS}
    best = max(DELIMITERS, key=lambda mark: scores[mark])
    return best if scores[best] else ","


def _cells(line: str, delimiter: str) -> list[str] | None:
    """The cells of one line, or None when its quotation marks do not close.

    Line by line, although CSV lets a cell run over several: no row of a chart does, and one mark left open
    would swallow every good row after it.
    """
    try:
        rows = list(csv.reader([line], delimiter=delimiter, strict=True, skipinitialspace=True))
    except csv.Error:
        return None
    return [cell.strip() for cell in rows[0]] if rows else []


def _columns(line: int, cells: Sequence[str]) -> dict[str, int] | None:
    """Column to place when this row is headings, else None.

    A first column whose heading says nothing to us is the label.
    """
    named = [_COLUMN_OF.get(_UNIT.sub("", cell).strip().casefold()) for cell in cells]
    if named[:1] != ["label"] and sum(column is not None for column in named) < 2:
        return None
    if len(cells) > 1 and all(_is_percentage(cell) for cell in cells[1:]):
        return None
    if "label" not in named and named[0] is None:
        named[0] = "label"
    columns: dict[str, int] = {}
    for place, column in enumerate(named):
        if column in columns:
            name = INK_NAMES.get(column, column)
            twice = f"{cells[columns[column]]} and {cells[place]}"
            raise ChartTableError(f"two headings mean {name}: {twice}", line)
        if column is not None:
            columns[column] = place
    missing = [INK_NAMES.get(column, column) for column in ("label", "c", "m", "y") if column not in columns]
    if missing:
        raise ChartTableError(f"the headings have no column for {', '.join(missing)}", line)
    return columns


def _is_percentage(cell: str) -> bool:
    try:
        read_percentage(cell)
    except NotationError:
        return False
    return True


def _swatch(line: int, cells: Sequence[str], columns: dict[str, int], width: int) -> Swatch | LineError:
    used = max(columns[column] for column in ("label", "c", "m", "y")) + 1
    if len(cells) < used:
        return LineError(line, "", f"this row has {len(cells)} columns; {used} are needed")
    if any(cells[width:]):
        return LineError(line, "", f"this row has {len(cells)} columns; {width} are read")
    label = cells[columns["label"]]
    if len(label) > MAX_LABEL:
        return LineError(line, "label", f"a label has at most {MAX_LABEL} signs")
    percentages = {}
    for ink in INKS:
        place = columns.get(ink)
        if place is None or place >= len(cells):
            continue
        try:
            percentages[ink] = read_percentage(cells[place])
        except NotationError as error:
            return LineError(line, ink, f"{INK_NAMES[ink]}: {error.message}")
    return Swatch(line, label, Tint(**percentages))
