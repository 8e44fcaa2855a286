"""Marks from the rows of a table that names issue and page."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from bible.locks.stretches import why_no_role
from bible.models import Part, Series
from guides.core.labels import clean_label
from guides.core.once import new_key
from guides.core.services import NewMark, place_marks
from guides.desk.services import do_together
from guides.handoff.services import FileMark, Places, Saying, Trouble, checked_row, said_at, said_by
from guides.imports.bible_reading import AS_DRAWN, folded, one_line
from guides.imports.fates import Fate, State
from guides.imports.issue_numbers import Numbered
from guides.imports.saying import SaidRow
from guides.models import Guide, Mark

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@dataclass(frozen=True, slots=True)
class PageMark:
    """A row that fits: the guide it goes on, its part (None: background), and what the mark says."""

    line: int
    guide: Guide
    part: Part | None
    mark: FileMark

    @property
    def saying(self) -> Saying:
        return said_by(self.mark, self.part)


class MarkReader:
    """Reads rows against one series: its current guides, and its parts by name, letter case aside."""

    def __init__(self, series: Series) -> None:
        self.roles = series.roles
        current = Guide.objects.filter(series=series).current().select_related("issue", "series")
        self.guides = {(guide.issue_id, guide.page): guide for guide in current}
        self.issues = Numbered((issue.number, issue) for issue in series.issues.all())
        parts = Part.objects.of_series(series).with_names()
        self.parts = {folded(part.names): part for part in parts}

    def read(self, said_row: SaidRow) -> PageMark | Fate:
        row, values = said_row.row, said_row.said
        if said_row.wrong:
            return Fate.wrong(row.line, said_row.wrong)
        if not (values["issue"] and values["page"]):
            return Fate.wrong(row.line, "It does not say which issue and page.")
        page = clean_label(values["page"])
        issue = self.issues.get(one_line(values["issue"]))
        guide = self.guides.get((issue.pk, page)) if issue else None
        if guide is None:
            return Fate.wrong(row.line, f"There is no page guide {page} in issue {values['issue']}.")
        mark = checked_row(values | {"page": page}, "It", self.roles)
        if isinstance(mark, Trouble):
            return Fate.wrong(row.line, f"{mark.what[:1].upper()}{mark.what[1:]}.")
        subject, costume, part = folded(mark.names)
        if not (subject or part):
            return PageMark(row.line, guide, None, mark)
        known = self.parts.get((subject, costume or AS_DRAWN, part))
        if known is None:
            if not subject:
                return Fate.wrong(row.line, f"It names the part {mark.names[2]}, and not whose it is.")
            named = ", ".join(filter(None, mark.names[:2]))
            return Fate.wrong(row.line, f"There is no part {named}: {mark.names[2] or '?'} in the bible.")
        return PageMark(row.line, guide, known, mark)


def take_marks(rows: Iterable[PageMark], by: User) -> list[Fate]:
    """Put the marks on their guides, numbered as they say where that number is free; at each page's desk they are one
    deed that is taken back.

    A mark that stands there already (place, code, part and role alike) is left; another one at the very same place is
    taken for a contradiction and left too: the desk is where marks are rewritten.
    """
    rows = list(rows)
    by_guide: dict[int, list[PageMark]] = defaultdict(list)
    for row in rows:
        by_guide[row.guide.pk].append(row)
    there: dict[int, Places[Mark]] = defaultdict(Places)
    taken: dict[int, set[int]] = defaultdict(set)
    for mark in Mark.objects.filter(guide__in=list(by_guide)).order_by("pk"):
        taken[mark.guide_id].add(mark.number)
        if mark.live:
            there[mark.guide_id].add(mark.x, mark.y, mark)
    fates = []
    for guide_id, together in by_guide.items():
        new: list[PageMark] = []
        seen: Places[PageMark] = Places()
        for row in together:
            at = (row.mark.x, row.mark.y)
            if marks := there[guide_id].at(*at):
                fates.append(_met(row, marks))
            elif others := seen.at(*at):
                fates.append(_twice(row, others[0]))
            elif why := why_no_role(row.guide.series, row.part, row.mark.role):
                fates.append(Fate.wrong(row.line, why))
            else:
                seen.add(*at, row)
                new.append(row)
        fates += _place(new, taken[guide_id], by)
    return fates


def _met(row: PageMark, marks: list[Mark]) -> Fate:
    if same := next((mark for mark in marks if said_at(mark) == row.saying), None):
        return Fate(row.line, State.SAME, f"It is mark {same.number} of page {row.guide.page} already.")
    mark = marks[0]
    told_there = f"Mark {mark.number} of page {row.guide.page} stands there with {mark.both_written}"
    return Fate.wrong(row.line, f"{told_there}: rewrite it on the desk.")


def _twice(row: PageMark, other: PageMark) -> Fate:
    if row.saying == other.saying:
        return Fate(row.line, State.SAME, f"Line {other.line} says so already.")
    return Fate.wrong(row.line, f"Line {other.line} puts another mark at the same place.")


def _place(new: list[PageMark], taken: set[int], by: User) -> list[Fate]:
    if not new:
        return []
    following = max(taken | {row.mark.number or 0 for row in new}, default=0) + 1
    marks, fates = [], []
    for row in new:
        number, mark = row.mark.number, row.mark
        if number is None or number in taken:
            number, following = following, following + 1
        taken.add(number)
        marks.append(NewMark(mark.x, mark.y, mark.written, row.part, mark.role, mark.to, mark.to_written, number))
        where = f"issue {row.guide.issue.number}, page {row.guide.page}"
        fates.append(Fate(row.line, State.ADDED, f"Mark {number} with {mark.written or 'no code'} on {where}."))
    guide = new[0].guide
    do_together(guide=guide, by=by, key=new_key(), deed=lambda: place_marks(guide=guide, by=by, rows=marks))
    return fates
