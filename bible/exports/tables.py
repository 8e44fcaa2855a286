"""A page's list as a table to take along, CSV or JSON from the page's own address: one writer for all of them.

Access, filters and the role matrix hold for the file as for the page, and the file is the whole list where the page
shows a part. Rows are made while they are sent. A CSV guards what a spreadsheet would run; the JSON says values as
they are.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import Any

from django.http import HttpRequest, StreamingHttpResponse

from bible.colour.gradients import Gradient, TintOrGradient
from bible.colour.press import PressCondition
from bible.colour.tints import Tint
from bible.exports.cells import guarded
from bible.models import Lock, Proposal, Series
from bible.models.fields import NoTint
from bible.models.naming import name_of
from bible.web.limits import LISTS, spend

Cell = str | int | float | bool | dt.datetime | dt.date | None

TYPES = {"csv": "text/csv; charset=utf-8; header=present", "json": "application/json"}
"""IANA media types: RFC 4180 section 3 for CSV, RFC 8259 section 11 for JSON, which is always UTF-8."""

PIECE = 500
"""Rows sent at a time."""

BOM = "\ufeff"
"""In front of a CSV: without it spreadsheet programs take UTF-8 for an old one-byte encoding (common practice)."""

CAUTION = "A screen is not a proof: judge print on the house's own proof."

INK_COLUMNS = ("cyan_percent", "magenta_percent", "yellow_percent", "key_percent")

_SAFE_NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


@dataclass(frozen=True, slots=True)
class Table:
    """A list as it leaves the house.

    ``name`` becomes part of a file's name: small letters, figures and hyphens. ``rows`` are read once. ``about`` is
    told in the JSON beside the rows; a CSV has the rows alone.
    """

    name: str
    columns: tuple[str, ...]
    rows: Iterable[Sequence[Cell]]
    about: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not _SAFE_NAME.fullmatch(self.name):
            raise ValueError(f"{self.name!r} is no name for a file")
        if len(set(self.columns)) != len(self.columns):
            raise ValueError("two columns have one name")


def about(series: Series, press: PressCondition | None = None, **more: Any) -> dict[str, Any]:
    """What a JSON says of its rows; with a press condition also the usual caution."""
    facts: dict[str, Any] = {"series": series.slug}
    if press:
        facts |= {"press_condition": press.title, "press_source": press.source, "caution": CAUTION}
    return facts | more


def tint_cells(series: Series, tint: TintOrGradient | NoTint | None) -> tuple[Cell, ...]:
    """The code in the series' notation and the four percentages; empty where there is no tint. Of a gradient
    the whole code, “B to W downwards”, and the percentages that it begins with."""
    if isinstance(tint, Gradient):
        return (series.write(tint), *tint.start.percentages)
    if not isinstance(tint, Tint):
        return (None,) * 5
    return (series.write(tint), *tint.percentages)


def tint_columns(name: str = "") -> tuple[str, ...]:
    """Names for ``tint_cells``; of a second tint in a row with what it is in front: ``expected_code``."""
    before = f"{name}_" if name else ""
    return (f"{before}code", *(f"{before}{ink}" for ink in INK_COLUMNS))


def person_cell(user: Any) -> str | None:
    return name_of(user) if user else None


def wanted(request: HttpRequest) -> str:
    """``csv`` or ``json`` where the request asks for one of them, else empty: the page itself.

    The address goes before the header. Browsers name HTML first, and whoever names nothing gets the page.
    """
    asked = request.GET.get("as", "")
    if asked in TYPES:
        return asked
    best = request.get_preferred_type(["text/html", "text/csv", "application/json"])
    return {"text/csv": "csv", "application/json": "json"}.get(best or "", "")


def answer(request: HttpRequest, series: Series, table: Table) -> StreamingHttpResponse:
    """The table in the form that was asked for, as a file to keep."""
    spend(LISTS, request.user.pk)
    kind = wanted(request) or "csv"
    write: Callable[[Table], Iterator[bytes]] = json_pieces if kind == "json" else csv_pieces
    name = f"{series.slug}-{table.name}.{kind}"
    headers = {
        "Content-Disposition": f'attachment; filename="{name}"',
        "Cache-Control": "private, no-store",
        "X-Content-Type-Options": "nosniff",
        "Vary": "Accept, Cookie",
    }
    return StreamingHttpResponse(write(table), content_type=TYPES[kind], headers=headers)


def csv_pieces(table: Table) -> Iterator[bytes]:
    """``csv_text`` with the byte order mark that spreadsheet programs look for."""
    yield BOM.encode()
    yield from (piece.encode() for piece in csv_text(table.columns, table.rows))


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[Cell]]) -> Iterator[str]:
    """RFC 4180 with a head line and CRLF, piece by piece; text that a spreadsheet would run gets an apostrophe."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([guarded(column) for column in columns])
    left = iter(rows)
    while piece := list(islice(left, PIECE)):
        writer.writerows([_csv_cell(cell) for cell in row] for row in piece)
        yield _taken(out)
    if out.tell():
        yield _taken(out)


def _taken(out: io.StringIO) -> str:
    text = out.getvalue()
    out.seek(0)
    out.truncate()
    return text


def _csv_cell(cell: Cell) -> str | int | float:
    match cell:
        case None:
            return ""
        case bool():
            return "true" if cell else "false"
        case int() | float():
            return cell
        case dt.date():
            return _moment(cell)
        case _:
            return guarded(cell)


def _moment(cell: dt.date) -> str:
    """ISO 8601; moments in UTC."""
    return (cell.astimezone(dt.UTC) if isinstance(cell, dt.datetime) else cell).isoformat()


def json_pieces(table: Table) -> Iterator[bytes]:
    """One object (RFC 8259): what ``about`` says, ``columns``, ``rows`` as objects. NaN and infinity raise."""
    head = json.dumps({**table.about, "columns": table.columns}, ensure_ascii=False, allow_nan=False)
    yield (head[:-1] + ', "rows": [').encode()
    rows, between = iter(table.rows), "\n"
    while piece := list(islice(rows, PIECE)):
        lines = (_line(dict(zip(table.columns, row, strict=True))) for row in piece)
        yield (between + ",\n".join(lines)).encode()
        between = ",\n"
    yield b"\n]}\n"


def _line(row: dict[str, Cell]) -> str:
    return json.dumps(row, ensure_ascii=False, allow_nan=False, default=_moment)


CHUNK = 500

LOCK_COLUMNS = ("role", *tint_columns(), *(f"to_{ink}" for ink in INK_COLUMNS), "written")
"""The inks a second time are what a gradient fades to."""

NO_LOCK = (None,) * len(LOCK_COLUMNS)


def lock_cells(series: Series, lock: Lock | Proposal) -> tuple[Cell, ...]:
    ends = lock.to_tint.percentages if lock.to_tint else (None,) * len(INK_COLUMNS)
    return (series.roles.name(lock.role), *tint_cells(series, lock.locked), *ends, lock.written)
