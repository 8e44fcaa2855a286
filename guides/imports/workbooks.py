"""Workbooks (.xlsx, .xls, .ods) as rows of text. One library reads them all, in a process of its own that is bounded
(``book_rows``), which also says what the cells look like; formulas are looked for here. No Django in here."""

from __future__ import annotations

import io
import json
import re
import subprocess
import sys
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from posixpath import join, normpath
from typing import Any

from defusedxml import ElementTree

from guides.imports.formats import ZIP

MOST_UNPACKED = 150_000_000
"""Bytes a workbook may unpack to; its XML takes some ten to twenty times the room of the zip."""
MOST_LINES = 200_000
"""Lines that are looked through, empty ones included: formatting alone can reach far below the table."""
MOST_MEMORY = 1_000_000_000
"""Bytes of the process that reads: a sheet of 200,000 lines of 60 columns takes under half of it."""
MOST_SECONDS = 30
"""Of that process; a sheet as long as may be takes three or four."""
_PROLOGUE = 4_096
"""Bytes of an XML file in which its document type is looked for; expat's own bound on growth holds behind that."""

PROBLEMS = {
    "hidden": "The workbook has no sheet that can be seen.",
    "long": f"The sheet goes on below line {MOST_LINES:,}: delete what is under the table.",
    "locked": "The workbook is locked with a password: save it without one.",
    "wide": "The sheet takes more room than a table can: delete what stands far below or right of it, or take CSV.",
    "damaged": "The workbook is damaged or none: save it again, or as CSV.",
}


UNSEEN_IN_XLS = (
    "Of an .xls the fills of cells cannot be seen. Formulas in an .xls cannot be told from values: what they last"
    " came to was read."
)


class UnreadableTable(ValueError):
    """A file that cannot be taken as a table; the message says why, and what to do."""


Span = tuple[tuple[int, int], tuple[int, int]]
"""First and last (line, column) of merged cells, from 0."""


@dataclass(frozen=True, slots=True)
class BookSheet:
    """A sheet that can be seen: (line from 1, cells) of the lines with something in them; ``formulas``, ``struck``:
    (line, column from 0) of each; ``fills`` with the colour behind; ``hidden``: lines that are folded away;
    ``folded``: such columns; ``comments`` hang on cells, with their text."""

    name: str
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    long: bool = False
    merged: tuple[Span, ...] = ()
    formulas: frozenset[tuple[int, int]] = frozenset()
    fills: tuple[tuple[int, int, str], ...] = ()
    struck: frozenset[tuple[int, int]] = frozenset()
    hidden: int = 0
    folded: tuple[int, ...] = ()
    comments: tuple[tuple[int, int, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Workbook:
    """The sheets that can be seen, in their order, and the names of those that cannot."""

    sheets: tuple[BookSheet, ...]
    hidden: tuple[str, ...] = ()
    notices: tuple[str, ...] = ()


def read_workbook(data: bytes, most_rows: int) -> Workbook:
    """Read a workbook; more than ``most_rows`` rows are cut one behind that many.

    Raises:
        UnreadableTable: damaged, locked, too large, or with formulas that do not say where they stand.
    """
    packed = data.startswith(ZIP)
    names = _checked_names(data) if packed else frozenset()
    contents = _sheets(data, most_rows)
    notices = () if packed else (UNSEEN_IN_XLS,)
    looks = contents.get("looks", {})
    sheets = []
    for sheet in contents["sheets"]:
        if sheet["visible"]:
            formulas = _formulas(_member_of(data, sheet["place"])) if "xl/workbook.xml" in names else ()
            sheets.append(_seen(sheet, looks.get(str(sheet["place"]), {}), formulas))
    hidden = tuple(sheet["name"] for sheet in contents["sheets"] if not sheet["visible"])
    return Workbook(tuple(sheets), hidden, notices)


def _seen(sheet: dict[str, Any], looks: dict[str, Any], formulas: Iterable[tuple[int, int]]) -> BookSheet:
    spans = [*sheet["merged"], *looks.get("spans", ())]
    return BookSheet(
        name=sheet["name"],
        rows=tuple((line, tuple(cells)) for line, cells in sheet["rows"]),
        long=sheet["long"],
        merged=tuple((tuple(start), tuple(end)) for start, end in spans),
        formulas=frozenset(formulas) | {(line, column) for line, column in looks.get("formulas", ())},
        fills=tuple((line, column, colour) for line, column, colour in looks.get("fills", ())),
        struck=frozenset((line, column) for line, column in looks.get("struck", ())),
        hidden=looks.get("hidden", 0),
        folded=tuple(looks.get("folded", ())),
        comments=tuple((line, column, text) for line, column, text in looks.get("comments", ())),
    )


def bounds(most_rows: int) -> tuple[str, ...]:
    """What the process that reads is told to keep to."""
    return tuple(map(str, (MOST_MEMORY, MOST_SECONDS, MOST_LINES, most_rows)))


def _sheets(data: bytes, most_rows: int) -> dict[str, Any]:
    command = [sys.executable, "-I", str(Path(__file__).with_name("book_rows.py")), *bounds(most_rows)]
    try:
        run = subprocess.run(command, input=data, capture_output=True, timeout=2 * MOST_SECONDS, check=False)
    except subprocess.TimeoutExpired as error:
        raise UnreadableTable(PROBLEMS["wide"]) from error
    if run.returncode:  # ended by its bounds: an allocation that fails is no exception in there
        raise UnreadableTable(PROBLEMS["wide"])
    answer: dict[str, Any] = json.loads(run.stdout)
    if problem := answer.get("problem"):
        raise UnreadableTable(PROBLEMS[problem])
    return answer


def _checked_names(data: bytes) -> frozenset[str]:
    """The members of a zip that is a workbook and no bomb."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as unpacked:
            size = sum(member.file_size for member in unpacked.infolist())
            names = frozenset(unpacked.namelist())
            typed = [name for name in names if name.endswith((".xml", ".rels")) and _declares_a_type(unpacked, name)]
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
    if not names & {"xl/workbook.xml", "content.xml"}:
        raise UnreadableTable("This is a zip, but no .xlsx or .ods workbook: save the table as .xlsx or CSV.")
    if typed:
        raise UnreadableTable("The workbook's XML declares a document type, which no workbook needs: save it again.")
    if size > MOST_UNPACKED:
        raise UnreadableTable(f"The workbook unpacks to more than {MOST_UNPACKED // 1_000_000} MB: split it.")
    return names


def _declares_a_type(unpacked: zipfile.ZipFile, name: str) -> bool:
    """A document type is where entities that grow without end are declared; it stands before everything else."""
    with unpacked.open(name) as member:
        return b"<!DOCTYPE" in member.read(_PROLOGUE).replace(b"\0", b"")


def _member_of(data: bytes, place: int) -> bytes:
    """The XML of the sheet at a place of the workbook (Office Open XML, ISO/IEC 29500-1, 12.3.23 and 12.3.24)."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as unpacked:
            book = ElementTree.fromstring(unpacked.read("xl/workbook.xml"))
            links = ElementTree.fromstring(unpacked.read("xl/_rels/workbook.xml.rels"))
            sheets = [element for element in book.iter() if element.tag.rpartition("}")[2] == "sheet"]
            (link,) = [value for name, value in sheets[place].items() if name.rpartition("}")[2] == "id"]
            (target,) = [element.get("Target") for element in links if element.get("Id") == link]
            return unpacked.read(normpath(join("/xl", target)).lstrip("/"))
    except Exception as error:  # a damaged file raises whatever the libraries happen to meet first
        raise UnreadableTable(PROBLEMS["damaged"]) from error


_FORMULA = re.compile(rb"<(?:\w+:)?f[\s/>]")
_FORMULA_CELL = re.compile(rb"<(?:\w+:)?c\b[^>]*?\br=[\"']([A-Z]{1,3})([0-9]{1,7})[\"'][^>]*>\s*<(?:\w+:)?f[\s/>]")


def _formulas(xml: bytes) -> Iterator[tuple[int, int]]:
    cells = _FORMULA_CELL.findall(xml)
    if len(cells) != len(_FORMULA.findall(xml)):
        raise UnreadableTable("The workbook has formulas that do not say where they stand: save it again, or as CSV.")
    for letters, line in cells:
        column = 0
        for letter in letters:
            column = 26 * column + letter - ord("A") + 1
        yield int(line), column - 1


def column_name(column: int) -> str:
    """“A” for 0, “AA” for 26, as spreadsheet programs count."""
    name = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        name = chr(ord("A") + rest) + name
    return name
