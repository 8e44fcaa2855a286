"""Marks that come back from a file: what a row says, what is wrong with it, and putting the good ones on a guide."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction

from bible.models import Part, Role, Series
from guides.holding import hold_pages
from guides.models import PAGE_LABEL_LENGTH, Guide, Mark
from guides.services import NewMark, place_marks

if TYPE_CHECKING:
    from django.contrib.auth.models import User

MOST_MARKS = 2_000
"""Of one file: some ten times what a crowded page carries."""

CODE_LENGTH = 80


@dataclass(frozen=True, slots=True)
class MarkRow:
    """A mark as a file tells it. ``names`` are subject, costume and part; all empty for background."""

    x: float
    y: float
    written: str
    number: int | None = None
    page: str = ""
    role: str = Role.BASE.value
    names: tuple[str, str, str] = ("", "", "")
    to: tuple[float, float] | None = None
    to_written: str = ""


@dataclass(frozen=True, slots=True)
class Trouble:
    """Why a row cannot be taken: where it stands in the file, and what is wrong with it."""

    where: str
    what: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what}"


def row_of(told: Mapping[str, object], where: str) -> MarkRow | Trouble:
    """Check one row. A code that cannot be read is no trouble: it is kept as written, like everywhere."""
    try:
        x, y = _fraction(told.get("x")), _fraction(told.get("y"))
        ends = (told.get("to_x"), told.get("to_y"))
        to = None if all(end in (None, "") for end in ends) else (_fraction(ends[0]), _fraction(ends[1]))
        number = int(str(told["number"])) if told.get("number") not in (None, "") else None
    except (TypeError, ValueError):
        return Trouble(where, "its place or number is no number, or lies off the page (0 to 1)")
    role = str(told.get("role") or Role.BASE.value)
    if role not in Role.values:
        return Trouble(where, f"“{role}” is no role; known are {', '.join(Role.values)}")
    written, to_written = str(told.get("written") or ""), str(told.get("to_written") or "")
    names = tuple(str(told.get(name) or "") for name in ("subject", "costume", "part"))
    page = str(told.get("page") or "")
    if max(len(written), len(to_written)) > CODE_LENGTH or len(page) > PAGE_LABEL_LENGTH:
        return Trouble(where, f"a code has at most {CODE_LENGTH} signs, a page {PAGE_LABEL_LENGTH}")
    if number is not None and not 0 < number < 2**31:
        return Trouble(where, "its number is not above 0")
    if bool(to) != bool(to_written):
        return Trouble(where, "an arrow needs its second code and its end")
    subject, costume, part = names
    return MarkRow(x, y, written, number, page, role, (subject, costume, part), to, to_written)


def _fraction(value: object) -> float:
    number = float(str(value))
    if not (math.isfinite(number) and 0.0 <= number <= 1.0):
        raise ValueError("off the page")
    return number


@dataclass(frozen=True, slots=True)
class Brought:
    """What a file would put on a guide: the rows that fit, each with its part, and the troubles."""

    rows: tuple[tuple[MarkRow, Part | None], ...]
    troubles: tuple[Trouble, ...]


def fit(guide: Guide, rows: Iterable[MarkRow], troubles: Iterable[Trouble]) -> Brought:
    """Match a file's rows with a guide: those of its page (or of no page), with the series' parts by name.

    Numbers that are taken on the guide already are given anew when the marks are placed.
    """
    rows, troubles = list(rows), list(troubles)
    if pages := {row.page for row in rows if row.page}:
        mine = [row for row in rows if row.page in ("", guide.page)]
        if not mine:
            where = ", ".join(sorted(pages)[:5])
            troubles.append(Trouble("the file", f"it speaks of page {where}, not of page {guide.page}"))
        rows = mine
    if len(rows) > MOST_MARKS:
        return Brought((), (Trouble("the file", f"more than {MOST_MARKS} marks for one page"),))
    parts = _parts_by_name(guide.series)
    fitting: list[tuple[MarkRow, Part | None]] = []
    for row in rows:
        if any(row.names) and row.names not in parts:
            subject, costume, part = row.names
            troubles.append(Trouble(f"mark {row.number or '?'}", f"there is no part {subject}, {costume}: {part}"))
        else:
            fitting.append((row, parts[row.names] if any(row.names) else None))
    return Brought(tuple(fitting), tuple(troubles))


def _parts_by_name(series: Series) -> dict[tuple[str, str, str], Part]:
    parts = Part.objects.filter(costume__subject__series=series).select_related("costume__subject")
    return {part.names: part for part in parts}


@transaction.atomic
def bring_in(*, guide: Guide, brought: Brought, by: User) -> list[Mark]:
    """Put the rows that fit on the guide, under their own numbers where those are free."""
    parts = [part.pk for _, part in brought.rows if part]
    hold_pages(series_id=guide.series_id, parts=parts, issues=[guide.issue_id], guides=[guide.pk])
    taken = set(guide.marks.values_list("number", flat=True))  # the page is held, so none joins them
    following = max(taken | {row.number or 0 for row, _ in brought.rows}, default=0) + 1
    marks = []
    for row, part in brought.rows:
        number = row.number
        if number is None or number in taken:
            number, following = following, following + 1
        taken.add(number)
        marks.append(NewMark(row.x, row.y, row.written, part, row.role, row.to, row.to_written, number))
    return place_marks(guide=guide, by=by, rows=marks)
