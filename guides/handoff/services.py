"""Marks that come back from a file: what a row says, what is wrong with it, and putting the good ones on a guide."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING, Generic, TypeVar

from django.db import transaction

from bible.locks.stretches import why_no_role
from bible.models import Part, Series
from bible.models.roles import BASE_ROLE, FIRST_ROLES, RoleList
from bible.series.refusals import Refused
from bible.web.digest import digest
from guides.core.holding import hold_pages
from guides.core.numbering import HIGHEST_NUMBER, numbers_beside
from guides.core.services import NewMark, place_marks
from guides.models import PAGE_LABEL_LENGTH, Guide, Mark

if TYPE_CHECKING:
    from django.contrib.auth.models import User

MOST_MARKS = 2_000
"""Of one file: some ten times what a crowded page carries."""

CODE_LENGTH = 80

SAME_PLACE = 1e-6
"""Fractions of the page: what rounding in a spreadsheet moves a place by, far less than a pixel."""

AROUND = tuple(product((-1, 0, 1), repeat=2))
"""A cell of ``SAME_PLACE`` and those beside it, where the same place may come to lie."""


@dataclass(frozen=True, slots=True)
class FileMark:
    """A mark as a file tells it. ``names`` are subject, costume and part; all empty for background."""

    x: float
    y: float
    written: str
    number: int | None = None
    page: str = ""
    role: str = BASE_ROLE
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


def checked_row(row: Mapping[str, object], where: str, roles: RoleList = FIRST_ROLES) -> FileMark | Trouble:
    """Check one row of a series with these roles. A code that cannot be read is no trouble: it is kept as
    written, like everywhere."""
    try:
        x, y = _fraction(row.get("x")), _fraction(row.get("y"))
        ends = (row.get("to_x"), row.get("to_y"))
        to = None if all(end in (None, "") for end in ends) else (_fraction(ends[0]), _fraction(ends[1]))
        number = int(str(row["number"])) if row.get("number") not in (None, "") else None
    except (TypeError, ValueError):
        return Trouble(where, "its place or number is no number, or lies off the page (0 to 1)")
    role_name = str(row.get("role") or BASE_ROLE)
    role = roles.found(role_name)
    if role is None:
        return Trouble(where, f"“{role_name[:40]}” is no role; known are {roles.known()}")
    written, to_written = str(row.get("written") or ""), str(row.get("to_written") or "")
    names = tuple(str(row.get(name) or "") for name in ("subject", "costume", "part"))
    page = str(row.get("page") or "")
    if max(len(written), len(to_written)) > CODE_LENGTH or len(page) > PAGE_LABEL_LENGTH:
        return Trouble(where, f"a code has at most {CODE_LENGTH} signs, a page {PAGE_LABEL_LENGTH}")
    if number is not None and not 0 < number <= HIGHEST_NUMBER:
        return Trouble(where, f"its number is not one from 1 to {HIGHEST_NUMBER:,}")
    if bool(to) != bool(to_written):
        return Trouble(where, "an arrow needs its second code and its end")
    subject, costume, part = names
    return FileMark(x, y, written, number, page, role.key, (subject, costume, part), to, to_written)


def _fraction(value: object) -> float:
    number = float(str(value))
    if not (math.isfinite(number) and 0.0 <= number <= 1.0):
        raise ValueError("off the page")
    return number


Thing = TypeVar("Thing")


class Places(Generic[Thing]):
    """Marks, or rows that are to become some, by where they stand on one page."""

    def __init__(self) -> None:
        self._cells: dict[tuple[int, int], list[tuple[float, float, Thing]]] = defaultdict(list)

    def add(self, x: float, y: float, item: Thing) -> None:
        self._cells[round(x / SAME_PLACE), round(y / SAME_PLACE)].append((x, y, item))

    def at(self, x: float, y: float) -> list[Thing]:
        """What stands there, as far as the same place can be written in several ways."""
        column, line = round(x / SAME_PLACE), round(y / SAME_PLACE)
        cells = [self._cells.get((column + right, line + down), ()) for right, down in AROUND]
        near = [mark for cell in cells for mark in cell]
        return [item for left, top, item in near if max(abs(left - x), abs(top - y)) <= SAME_PLACE]


def standing(guide: Guide) -> Places[Mark]:
    """The marks that stand on a guide."""
    places: Places[Mark] = Places()
    for mark in Mark.objects.filter(guide=guide, deleted_at=None).order_by("pk"):
        places.add(mark.x, mark.y, mark)
    return places


Saying = tuple[str, str, int | None, str]
"""What makes a mark at a place this mark: its codes, its part's key and its role."""


def said_by(row: FileMark, part: Part | None) -> Saying:
    return (row.written, row.to_written, part.pk if part else None, row.role)


def said_at(mark: Mark) -> Saying:
    return (mark.written, mark.to_written, mark.part_id, mark.role)


@dataclass(frozen=True, slots=True)
class Brought:
    """What a file would put on a guide: the rows that fit, each with its part, those that stand there ``already``,
    each with its mark's number, and the troubles."""

    rows: tuple[tuple[FileMark, Part | None], ...]
    troubles: tuple[Trouble, ...]
    already: tuple[tuple[FileMark, int], ...] = ()

    @property
    def token(self) -> str:
        """Stands for exactly this."""
        rows = [(row, part.pk if part else None) for row, part in self.rows]
        return digest(repr((rows, [str(trouble) for trouble in self.troubles], self.already)))


def fit(guide: Guide, rows: Iterable[FileMark], troubles: Iterable[Trouble]) -> Brought:
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
    fitting: list[tuple[FileMark, Part | None]] = []
    for row in rows:
        if any(row.names) and row.names not in parts:
            subject, costume, part = row.names
            troubles.append(Trouble(f"mark {row.number or '?'}", f"there is no part {subject}, {costume}: {part}"))
        else:
            fitting.append((row, parts[row.names] if any(row.names) else None))
    return _sifted(guide, fitting, troubles)


def _sifted(guide: Guide, rows: Iterable[tuple[FileMark, Part | None]], troubles: Iterable[Trouble]) -> Brought:
    """Rows without those that say a mark over again; another mark at the very same place is left for the desk."""
    there = standing(guide)
    seen: Places[Saying] = Places()
    new, already, wrong = [], [], list(troubles)
    for row, part in rows:
        saying = said_by(row, part)
        marks = there.at(row.x, row.y)
        if same := next((mark for mark in marks if said_at(mark) == saying), None):
            already.append((row, same.number))
        elif marks:
            standing_there = (
                f"mark {marks[0].number} stands at its place with {marks[0].both_written}: rewrite it on the desk"
            )
            wrong.append(Trouble(f"mark {row.number or '?'}", standing_there))
        elif why := why_no_role(guide.series, part, row.role):
            wrong.append(Trouble(f"mark {row.number or '?'}", why))
        elif saying not in seen.at(row.x, row.y):
            seen.add(row.x, row.y, saying)
            new.append((row, part))
    return Brought(tuple(new), tuple(wrong), tuple(already))


def _parts_by_name(series: Series) -> dict[tuple[str, str, str], Part]:
    parts = Part.objects.filter(costume__subject__series=series).select_related("costume__subject")
    return {part.names: part for part in parts}


@transaction.atomic
def bring_in(*, guide: Guide, brought: Brought, by: User) -> list[Mark]:
    """Put the rows that fit on the guide, under their own numbers where those are free.

    Raises:
        Refused: some of them stand there by now.
    """
    parts = [part.pk for _, part in brought.rows if part]
    hold_pages(series_id=guide.series_id, parts=parts, issues=[guide.issue_id], guides=[guide.pk])
    if _sifted(guide, brought.rows, ()).rows != brought.rows:
        raise Refused("The page has got other marks since this was shown. Look at the file again.")
    taken = set(guide.marks.values_list("number", flat=True))  # the page is held, so none joins them
    free = numbers_beside(taken | {row.number for row, _ in brought.rows if row.number})
    marks = []
    for row, part in brought.rows:
        number = row.number
        if number is None or number in taken:
            number = next(free)
        taken.add(number)
        marks.append(NewMark(row.x, row.y, row.written, part, row.role, row.to, row.to_written, number))
    return place_marks(guide=guide, by=by, rows=marks)
