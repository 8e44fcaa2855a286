"""Run by itself, bounded in memory and time: a workbook on standard input, its sheets as JSON on standard output.
What reads it lays a sheet out whole, so one cell far from the others asks for all the room between: that must end
this process and no other. No Django in here, and of the house only the file beside it."""

from __future__ import annotations

import datetime as dt
import importlib.util
import io
import json
import resource
import sys
from pathlib import Path
from typing import Any

from python_calamine import PasswordError, SheetTypeEnum, SheetVisibleEnum, load_workbook

PEEK = 12
"""Lines read of a sheet that there is no room for any more: enough to see what it holds."""


def text_of(value: object) -> str:
    """A cell's value as people would type it: 41, not 41.0; dates as ISO 8601."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, dt.datetime):
        return value.date().isoformat() if value.time() == dt.time() else value.isoformat(" ")
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    return str(value).strip()


def rows_of(sheet: Any, most_rows: int) -> list[tuple[int, list[str]]]:
    """(line from 1, cells) of the lines with something in them, from column A; at most ``most_rows`` and one."""
    rows: list[tuple[int, list[str]]] = []
    before = [""] * sheet.start[1] if sheet.start else []
    for line, values in enumerate(sheet.iter_rows(), 1):
        cells = [text_of(value) for value in values]
        while cells and not cells[-1]:
            cells.pop()
        if cells:
            rows.append((line, before + cells))
        if len(rows) > most_rows:
            break
    return rows


def sheets_of(data: bytes, most_lines: int, most_rows: int) -> dict[str, Any]:
    book = load_workbook(io.BytesIO(data))
    sheets: list[dict[str, Any]] = []
    room = most_rows
    for place, metadata in enumerate(book.sheets_metadata):
        if metadata.typ != SheetTypeEnum.WorkSheet:
            continue
        visible = metadata.visible == SheetVisibleEnum.Visible
        sheet = book.get_sheet_by_index(place)
        long = sheet.total_height > most_lines
        rows = [] if long or not visible else rows_of(sheet, max(room, PEEK))
        room -= len(rows)
        entry = {"place": place, "name": metadata.name, "visible": visible, "rows": rows, "long": long}
        sheets.append(entry | {"merged": sheet.merged_cell_ranges or [] if visible else []})
    if not any(sheet["visible"] for sheet in sheets):
        return {"problem": "hidden"}
    return {"sheets": sheets, **looks_of(data)}


def looks_of(data: bytes) -> dict[str, Any]:
    """Fills, strokes through text, merged cells and formulas, as far as the file tells them."""
    spec = importlib.util.spec_from_file_location("book_looks", Path(__file__).with_name("book_looks.py"))
    if spec is None or spec.loader is None:
        return {}
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    looks: dict[str, Any] = module.looks(data)
    return looks


def main(most_bytes: int, most_seconds: int, most_lines: int, most_rows: int) -> None:
    resource.setrlimit(resource.RLIMIT_AS, (most_bytes, most_bytes))
    resource.setrlimit(resource.RLIMIT_CPU, (most_seconds, most_seconds))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    try:
        answer = sheets_of(sys.stdin.buffer.read(), most_lines, most_rows)
    except PasswordError:
        answer = {"problem": "locked"}
    except MemoryError:
        answer = {"problem": "wide"}
    except Exception:  # a damaged file raises whatever the library happens to meet first
        answer = {"problem": "damaged"}
    json.dump(answer, sys.stdout)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
