"""What a workbook's cells look like beside what they say: filled, struck through, merged, worked out by a formula.
Read from the file's XML inside the bounded process of ``book_rows``. No Django in here, and nothing of the house.

Office Open XML: ISO/IEC 29500-1, 18.3.1.4 (c), 18.8.45 (xf), 18.8.21 (fill), 18.8.22 (font), 18.3.1.73 (row),
18.3.1.13 (col), 18.7.3 (comment).
OpenDocument 1.2, part 1: 9.1.4 (table-cell), 14.1 (annotation), 19.676 (number-columns-spanned), 20.183
(fo:background-color).
"""

from __future__ import annotations

import io
import re
import zipfile
from collections import defaultdict
from collections.abc import Iterator
from posixpath import join, normpath, split
from typing import Any

from defusedxml import ElementTree

MOST_SAID = 3_000
"""Cells told of each kind; of more than that the first."""
MOST_COMMENTS = 20
"""Comments on cells that are told of; more would bury what else is said."""
LONGEST_COMMENT = 80
MOST_REPEATED = 1_000
"""Lines or cells alike in a row that are looked at one by one: more is formatting down to the sheet's end."""


def looks(data: bytes) -> dict[str, Any]:
    """By the sheet's place: ``fills`` (line from 1, column from 0, colour), ``struck`` (line, column), ``hidden``
    (how many lines), ``folded`` (columns from 0 that are hidden), ``comments`` (line, column, text), and of
    OpenDocument ``spans`` (first and last line and column from 0) and ``formulas``."""
    if not data.startswith(b"PK"):
        return {}
    with zipfile.ZipFile(io.BytesIO(data)) as book:
        names = set(book.namelist())
        if "content.xml" in names:
            return {"looks": dict(enumerate(_opendocument(book.read("content.xml"))))}
        if "xl/workbook.xml" in names and "xl/styles.xml" in names:
            styles = _Styles(ElementTree.fromstring(book.read("xl/styles.xml")))
            return {
                "looks": {
                    place: _sheet(book.read(name), styles) | {"comments": _comments(book, name)}
                    for place, name in _sheets(book)
                }
            }
    return {}


def _local(name: str) -> str:
    return name.rpartition("}")[2]


def _said(element: Any, name: str) -> str:
    return next((str(value) for key, value in element.items() if _local(key) == name), "")


def _sheets(book: zipfile.ZipFile) -> Iterator[tuple[int, str]]:
    workbook = ElementTree.fromstring(book.read("xl/workbook.xml"))
    links = ElementTree.fromstring(book.read("xl/_rels/workbook.xml.rels"))
    targets = {link.get("Id"): link.get("Target") for link in links}
    sheets = [element for element in workbook.iter() if _local(element.tag) == "sheet"]
    for place, sheet in enumerate(sheets):
        target = normpath(join("/xl", targets.get(_said(sheet, "id"), ""))).lstrip("/")
        if target in book.namelist():
            yield place, target


def _comments(book: zipfile.ZipFile, sheet: str) -> list[tuple[int, int, str]]:
    """What hangs on a sheet's cells: its own part of the package, found by the kind of link."""
    folder, name = split(sheet)
    links = join(folder, "_rels", f"{name}.rels")
    comments: list[tuple[int, int, str]] = []
    for link in ElementTree.fromstring(book.read(links)) if links in book.namelist() else ():
        target = normpath(join("/", folder, link.get("Target", ""))).lstrip("/")
        if link.get("Type", "").endswith("/comments") and target in book.namelist():
            for comment in ElementTree.fromstring(book.read(target)).iter():
                if _local(comment.tag) == "comment" and (at := _PLACE.fullmatch(comment.get("ref", ""))):
                    text = " ".join("".join(comment.itertext()).split())[:LONGEST_COMMENT]
                    comments.append((int(at[2]), _column(at[1].encode()), text))
    return comments[:MOST_COMMENTS]


def _column(letters: bytes) -> int:
    """0 for “A”."""
    column = 0
    for letter in letters:
        column = 26 * column + letter - ord("A") + 1
    return column - 1


class _Styles:
    """Which formats of cells are filled, and with what, and which strike text through."""

    def __init__(self, root: Any) -> None:
        parts = {_local(part.tag): part for part in root}
        fills = [self._colour(fill) for fill in parts.get("fills", ())]
        fonts = [_strikes(font) for font in parts.get("fonts", ())]
        self.fill: dict[int, str] = {}
        self.struck: set[int] = set()
        for number, form in enumerate(parts.get("cellXfs", ())):
            fill, font = int(form.get("fillId", 0)), int(form.get("fontId", 0))
            if 0 < fill < len(fills) and fills[fill]:
                self.fill[number] = fills[fill]
            if 0 <= font < len(fonts) and fonts[font]:
                self.struck.add(number)

    @staticmethod
    def _colour(fill: Any) -> str:
        """A solid fill's colour; white and none count for nothing."""
        for pattern in fill:
            if _local(pattern.tag) == "patternFill" and pattern.get("patternType") not in (None, "none", "gray125"):
                for colour in pattern:
                    if _local(colour.tag) == "fgColor":
                        indexed = colour.get("theme") or colour.get("indexed")
                        value = (colour.get("rgb") or "")[-6:] or f"theme {indexed}"
                        return "" if value.upper() == "FFFFFF" else value
        return ""


def _strikes(font: Any) -> bool:
    return any(_local(element.tag) == "strike" and element.get("val") != "0" for element in font)


_CELL = re.compile(rb"<(?:\w+:)?c\b([^>]*)>")
_ROW = re.compile(rb"<(?:\w+:)?row\b[^>]*?\bhidden=[\"'](?:1|true)[\"']")
_AT = re.compile(rb"\br=[\"']([A-Z]{1,3})([0-9]{1,7})[\"']")
_PLACE = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")
_COL = re.compile(rb"<(?:\w+:)?col\b[^>]*?\bhidden=[\"'](?:1|true)[\"'][^>]*>")
_COL_ENDS = re.compile(rb"\b(min|max)=[\"']([0-9]{1,5})[\"']")
_STYLE = re.compile(rb"\bs=[\"']([0-9]{1,6})[\"']")


def _sheet(xml: bytes, styles: _Styles) -> dict[str, Any]:
    fills: list[tuple[int, int, str]] = []
    struck: list[tuple[int, int]] = []
    for cell in _CELL.finditer(xml) if styles.fill or styles.struck else ():
        form = _STYLE.search(cell[1])
        number = int(form[1]) if form else 0
        if (number in styles.fill or number in styles.struck) and (at := _AT.search(cell[1])):
            column = _column(at[1])
            if number in styles.fill and len(fills) < MOST_SAID:
                fills.append((int(at[2]), column, styles.fill[number]))
            if number in styles.struck and len(struck) < MOST_SAID:
                struck.append((int(at[2]), column))
    folded: list[int] = []
    for hidden in _COL.findall(xml):
        ends = dict(_COL_ENDS.findall(hidden))
        first, last = int(ends.get(b"min", 1)), int(ends.get(b"max", 0))
        folded += range(first - 1, min(last, first + MOST_REPEATED))
    return {"fills": fills, "struck": struck, "hidden": len(_ROW.findall(xml)), "folded": folded}


def _opendocument(xml: bytes) -> list[dict[str, Any]]:
    styles: dict[str, tuple[str, bool]] = {}
    sheets: list[dict[str, Any]] = []
    for event, element in ElementTree.iterparse(io.BytesIO(xml), events=("start", "end")):
        name = _local(element.tag)
        if event == "end" and name == "style":
            styles[_said(element, "name")] = _style(element)
        elif event == "start" and name == "table":
            sheets.append(defaultdict(list, fills=[], struck=[], spans=[], formulas=[], hidden=0, line=0, wide=0))
        elif event == "end" and name == "table-column" and sheets:
            times = int(_said(element, "number-columns-repeated") or 1)
            if _said(element, "visibility") in ("collapse", "filter"):
                sheets[-1]["folded"] += range(sheets[-1]["wide"], sheets[-1]["wide"] + min(times, MOST_REPEATED))
            sheets[-1]["wide"] += times
        elif event == "end" and name == "table-row" and sheets:
            _row(element, sheets[-1], styles)
            element.clear()
    return [{key: value for key, value in sheet.items() if key not in ("line", "wide")} for sheet in sheets]


def _style(element: Any) -> tuple[str, bool]:
    fill, struck = "", False
    for properties in element:
        background = _said(properties, "background-color")
        fill = background.lstrip("#") if background not in ("", "transparent", "#ffffff") else fill
        struck = struck or _said(properties, "text-line-through-style") not in ("", "none")
    return fill, struck


def _row(element: Any, sheet: dict[str, Any], styles: dict[str, tuple[str, bool]]) -> None:
    repeated = int(_said(element, "number-rows-repeated") or 1)
    line = sheet["line"]
    sheet["line"] += repeated
    if _said(element, "visibility") in ("collapse", "filter"):
        sheet["hidden"] += min(repeated, MOST_REPEATED)
    if repeated > MOST_REPEATED:
        return
    column = 0
    for cell in element:
        times = int(_said(cell, "number-columns-repeated") or 1)
        wide, high = (int(_said(cell, f"number-{direction}-spanned") or 1) for direction in ("columns", "rows"))
        fill, struck = styles.get(_said(cell, "style-name"), ("", False))
        if (wide > 1 or high > 1) and len(sheet["spans"]) < MOST_SAID:
            sheet["spans"].append(((line, column), (line + high - 1, column + wide - 1)))
        for child in cell if len(sheet["comments"]) < MOST_COMMENTS else ():
            if _local(child.tag) == "annotation":
                paragraphs = [
                    " ".join("".join(paragraph.itertext()).split())
                    for paragraph in child
                    if _local(paragraph.tag) == "p"
                ]
                sheet["comments"].append((line + 1, column, " ".join(paragraphs)[:LONGEST_COMMENT]))
        places = [(line + 1 + down, column + right) for down in range(repeated) for right in range(min(times, 60))]
        if times <= MOST_REPEATED and _said(cell, "formula"):
            sheet["formulas"] += places[: MOST_SAID - len(sheet["formulas"])]
        if times <= MOST_REPEATED and fill:
            sheet["fills"] += [(*place, fill) for place in places[: MOST_SAID - len(sheet["fills"])]]
        if times <= MOST_REPEATED and struck:
            sheet["struck"] += places[: MOST_SAID - len(sheet["struck"])]
        column += times
