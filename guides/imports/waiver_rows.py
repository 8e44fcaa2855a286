"""Waivers from the rows of a table: each names its mark, what may stand and against what."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import TYPE_CHECKING

from bible.colour.gradients import TintOrGradient
from bible.colour.notation import NotationError
from bible.models import Series
from bible.models.fields import NoTint
from guides.core.labels import clean_label
from guides.core.waivers import waive
from guides.imports.bible_reading import AS_DRAWN, folded, one_line
from guides.imports.fates import Fate, State
from guides.imports.issue_numbers import Numbered, number_key
from guides.imports.saying import Said, SaidRow
from guides.models import Mark, Waiver

if TYPE_CHECKING:
    from django.contrib.auth.models import User

REASON_LENGTH = 300


class WaiverTaker:
    """Allows flags to stand as rows say. A row whose mark says something else by now is left out: a waiver is for one
    disagreement."""

    def __init__(self, series: Series, by: User) -> None:
        self.series, self.by = series, by
        self.issues = Numbered((issue.number, issue.pk) for issue in series.issues.all())

    def take(self, rows: Iterable[SaidRow]) -> list[Fate]:
        rows = list(rows)
        named = {self.issues.get(one_line(said_row.said.get("issue", ""))) for said_row in rows}
        marks = Mark.objects.filter(series=self.series, guide__issue__in=named - {None}).live()
        self.marks = {(mark.guide.issue_id, mark.guide.page, mark.number): mark for mark in marks.with_names()}
        self.open = set(marks.open().values_list("pk", flat=True))
        self.reasons = dict(Waiver.objects.alive().filter(mark__in=marks.waived()).values_list("mark", "reason"))
        fates, together = [], defaultdict[str, list[tuple[SaidRow, Mark]]](list)
        for said_row in rows:
            outcome = self._found(said_row)
            if isinstance(outcome, Fate):
                fates.append(outcome)
            else:
                self.reasons[outcome.pk] = one_line(said_row.said["reason"])
                together[self.reasons[outcome.pk]].append((said_row, outcome))
        for reason, flags in together.items():
            waive(marks=[mark for _, mark in flags], reason=reason, by=self.by)
            fates += [
                Fate(said_row.row.line, State.ADDED, f"{_where(mark)} may stand: {reason}")
                for said_row, mark in flags
            ]
        return fates

    def _found(self, said_row: SaidRow) -> Mark | Fate:
        """The mark whose flag may stand, or what becomes of the row otherwise."""
        values, line = said_row.said, said_row.row.line
        reason = one_line(values.get("reason", ""))
        issue = self.issues.get(one_line(values.get("issue", "")))
        number = number_key(values.get("number", ""))
        if wrong := said_row.wrong or self._wrong(values, reason):
            return Fate.wrong(line, wrong)
        if issue is None:
            return Fate.wrong(line, f"There is no issue {values['issue'][:40]} in {self.series}.")
        mark = self.marks.get((issue, clean_label(values["page"]), int(number))) if number.isdecimal() else None
        if mark is None:
            return Fate.wrong(
                line, f"There is no mark {values['number'][:20]} on page {values['page'][:40]} of that issue."
            )
        if other := self._otherwise(mark, values):
            return Fate.wrong(line, other)
        if (standing := self.reasons.get(mark.pk)) is not None:
            if standing == reason:
                return Fate(line, State.SAME, f"{_where(mark)} may stand already, for this reason.")
            return Fate.wrong(line, f"{_where(mark)} may stand already, since “{standing}”: take that back first.")
        if mark.pk not in self.open:
            return Fate.wrong(line, f"{_where(mark)} has no flag: there is nothing to waive.")
        return mark

    def _wrong(self, values: Said, reason: str) -> str:
        if not (values["issue"] and values["page"] and values["number"]):
            return "It does not say which issue, page and mark."
        if not reason:
            return "A waiver needs a reason: it is read years later."
        return f"A reason has at most {REASON_LENGTH} signs." if len(reason) > REASON_LENGTH else ""

    def _otherwise(self, mark: Mark, values: Said) -> str:
        """In what a mark is not as the row says; empty where it is."""
        names = folded((values["subject"], values["costume"], values["part"]))
        if any(names):
            there = folded(mark.part.names) if mark.part else ("", "", "")
            if names != there and (names[0], names[1] or AS_DRAWN, names[2]) != there:
                standing = mark.part.full_name if mark.part else "of no part"
                return f"{_where(mark)} is {standing} here, not what the row names."
        role = self.series.roles.found(values["role"]) if values["role"] else None
        if values["role"] and (role is None or role.key != mark.role):
            return f"{_where(mark)} is {self.series.roles.name(mark.role)} here, not {values['role'][:40]}."
        for what, cell, tint in (
            ("says", values["code"], mark.says),
            ("should be", values["expected"], mark.expectation),
        ):
            if cell and not self._same(cell, tint):
                is_now = tint.words if isinstance(tint, NoTint) else self.series.write(tint)
                return f"{_where(mark)} {what} {is_now} here, and {cell[:40]} in the table: the waiver was for that."
        return ""

    def _same(self, cell: str, tint: TintOrGradient | NoTint) -> bool:
        try:
            return self.series.read_locked(cell) == tint
        except NotationError:
            return False


def _where(mark: Mark) -> str:
    return f"Mark {mark.number} of issue {mark.guide.issue.number}, {mark.guide}"
