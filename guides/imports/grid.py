"""A table file as rows of text: CSV in several encodings, and .xlsx. No Django in here."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import IO, Any

from bible.exports.cells import unguarded

MOST_BYTES = 10_000_000
"""Of a file: a table of a hundred thousand short rows."""
MOST_ROWS = 50_000
"""Rows with something in them. The whole bible of a long series has some 5,000, a year's marks 20,000."""
MOST_COLUMNS = 60
LONGEST_CELL = 2_000
MOST_UNPACKED = 150_000_000
"""Bytes an .xlsx may unpack to; its XML takes some ten to twenty times the room of the zip."""
MOST_LINES = 200_000
"""Lines that are looked through, empty ones included: formatting alone can reach far below the table."""

DELIMITERS = ",;\t|"
_PROLOGUE = 4_096
"""Bytes of an XML file in which its document type is looked for; expat's own bound on growth holds behind that."""
_SIGNATURE_ZIP = b"PK\x03\x04"
_SIGNATURE_OLD = b"\xd0\xcf\x11\xe0"


class UnreadableTable(ValueError):
    """A file that cannot be taken as a table; the message says why, and what to do."""


@dataclass(frozen=True, slots=True)
class GridRow:
    """One line: ``line`` counts from 1 as the person's own program shows it; ``formulas`` are columns from 0."""

    line: int
    cells: tuple[str, ...]
    formulas: frozenset[int] = frozenset()

    def cell(self, column: int | None) -> str:
        return self.cells[column] if column is not None and column < len(self.cells) else ""


@dataclass(frozen=True, slots=True)
class Grid:
    """Rows with something in them, top to bottom. ``notices`` tell what was assumed while reading."""

    rows: tuple[GridRow, ...]
    notices: tuple[str, ...] = ()

    @property
    def width(self) -> int:
        return max((len(row.cells) for row in self.rows), default=0)


def column_name(column: int) -> str:
    """“A” for 0, “AA” for 26, as spreadsheet programs count."""
    name = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        name = chr(ord("A") + rest) + name
    return name


def read_table(data: bytes, filename: str) -> Grid:
    """The rows of a file.

    Args:
        data: the file's bytes.
        filename: what it is called; only its meaning to people is used, the bytes decide what it is.

    Raises:
        Unreadable: too large, not a table, merged cells, a damaged or an older kind of file.
    """
    if len(data) > MOST_BYTES:
        raise UnreadableTable(f"The file is larger than {MOST_BYTES // 1_000_000} MB: split it.")
    if data.startswith(_SIGNATURE_OLD):
        raise UnreadableTable("This is an old kind of spreadsheet: save it as .xlsx or as CSV.")
    if data.startswith(_SIGNATURE_ZIP):
        return _read_xlsx(data)
    return _read_csv(data)


def _read_csv(data: bytes) -> Grid:
    text, notices = _decoded(data)
    if "\0" in text:
        raise UnreadableTable("This is no text: save the table as CSV in UTF-8, or as .xlsx.")
    delimiter = _delimiter(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    return Grid(tuple(_bounded(_csv_rows(reader))), notices)


def _decoded(data: bytes) -> tuple[str, tuple[str, ...]]:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return data.decode("utf-16"), ()
        except UnicodeDecodeError as error:
            raise UnreadableTable(
                "The file begins as UTF-16 and goes on otherwise: save it as CSV in UTF-8."
            ) from error
    try:
        return data.decode("utf-8-sig"), ()
    except UnicodeDecodeError:
        pass
    try:
        told = "The file is not UTF-8 and was read as Windows-1252: look at the accented letters."
        return data.decode("cp1252"), (told,)
    except UnicodeDecodeError as error:
        raise UnreadableTable("The file's encoding is not known: save it as CSV in UTF-8, or as .xlsx.") from error


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
        # A cell may hold line breaks: the row is where it begins.
        yield GridRow(last + 1, tuple(_plain(cell) for cell in cells))
        last = reader.line_num


def _plain(cell: str) -> str:
    """A cell without the apostrophe that guards it against being taken for a formula, and without outer blanks."""
    return unguarded(cell.strip()).strip()


def _read_xlsx(data: bytes) -> Grid:
    from openpyxl import load_workbook

    _refuse_bomb(data)
    try:
        book = load_workbook(io.BytesIO(data), read_only=True, data_only=False, keep_links=False)
        sheets = [sheet for sheet in book.worksheets if sheet.sheet_state == "visible"]
        if not sheets:
            raise UnreadableTable("The workbook has no sheet that can be seen.")
        sheet: Any = sheets[0]
        notices = (
            (f"The workbook has {len(sheets)} sheets; the first, “{sheet.title}”, was read.",)
            if len(sheets) > 1
            else ()
        )
        # The streaming reader knows nothing of merged cells, which stand behind the rows in the sheet's own file;
        # only its private attribute says which of the zip's members that is.
        with zipfile.ZipFile(io.BytesIO(data)) as unpacked, unpacked.open(sheet._worksheet_path) as source:
            merged = _merged(source)
        rows = tuple(_bounded(_xlsx_rows(sheet)))
    except UnreadableTable:
        raise
    except Exception as error:  # a damaged file raises whatever the libraries happen to meet first
        raise UnreadableTable("The workbook is damaged or no .xlsx: save it again, or as CSV.") from error
    if rows and (inside := [area for area in merged if _last_line(area) > rows[0].line]):
        named = ", ".join(inside[:5]) + (" …" if len(inside) > 5 else "")
        raise UnreadableTable(f"Cells are merged ({named}): unmerge them and write their text into every row.")
    return Grid(rows, notices)


def _refuse_bomb(data: bytes) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as unpacked:
            size = sum(member.file_size for member in unpacked.infolist())
            names = set(unpacked.namelist())
            typed = [name for name in names if name.endswith(".xml") and _declares_a_type(unpacked, name)]
    except (
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        ValueError,
        NotImplementedError,
        RuntimeError,
        OSError,
    ) as error:
        raise UnreadableTable("The file is a damaged zip or workbook: save it again.") from error
    if "xl/workbook.xml" not in names:
        raise UnreadableTable("This is a zip, but no .xlsx workbook: save the table as .xlsx or CSV.")
    if typed:
        raise UnreadableTable("The workbook's XML declares a document type, which no workbook needs: save it again.")
    if size > MOST_UNPACKED:
        raise UnreadableTable(f"The workbook unpacks to more than {MOST_UNPACKED // 1_000_000} MB: split it.")


def _declares_a_type(unpacked: zipfile.ZipFile, name: str) -> bool:
    """A document type is where entities that grow without end are declared; it stands before everything else."""
    with unpacked.open(name) as member:
        return b"<!DOCTYPE" in member.read(_PROLOGUE).replace(b"\0", b"")


_MERGE = re.compile(rb"<(?:\w+:)?mergeCell\b[^>]*?\bref=[\"']([A-Z]{1,3}[0-9]{1,7}:[A-Z]{1,3}[0-9]{1,7})[\"']")


def _merged(source: IO[bytes]) -> list[str]:
    found: list[str] = []
    kept = b""
    while piece := source.read(1 << 16):
        kept += piece
        end = 0
        for match in _MERGE.finditer(kept):
            found.append(match[1].decode())
            end = match.end()
        kept = kept[max(end, len(kept) - 200) :]
    return found


def _last_line(area: str) -> int:
    return int(re.sub("[A-Z]", "", area.split(":")[1]))


def _xlsx_rows(sheet: Any) -> Iterator[GridRow]:
    for line, cells in enumerate(sheet.iter_rows(), 1):
        if line > MOST_LINES:
            raise UnreadableTable(f"The sheet goes on below line {MOST_LINES:,}: delete what is under the table.")
        formulas = frozenset(at for at, cell in enumerate(cells) if cell.data_type == "f")
        yield GridRow(line, tuple(_said(cell.value) for cell in cells), formulas)


def _said(value: object) -> str:
    """A cell's value as people would type it: 41, not 41.0; dates as ISO 8601."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, dt.datetime):
        return value.date().isoformat() if value.time() == dt.time() else value.isoformat(" ")
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    return str(value).strip()


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
        yield GridRow(row.line, row.cells[:width], row.formulas)
