"""Who does which page, from the rows of a table."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from bible.models import Issue, Series
from bible.models.naming import name_of
from bible.models.permissions import Permission
from bible.series.refusals import Refused
from guides.assignments.services import OthersPages, give_pages
from guides.core.labels import clean_label
from guides.imports.bible_reading import one_line
from guides.imports.dates import in_words
from guides.imports.fates import Fate, State
from guides.imports.issue_numbers import Numbered
from guides.imports.saying import SaidRow
from guides.imports.texts import alike
from guides.models import Assignment

if TYPE_CHECKING:
    from django.contrib.auth.models import User

NOTE_LENGTH = Assignment._meta.get_field("note").max_length or 0
LABEL_LENGTH = Assignment._meta.get_field("page").max_length or 0


@dataclass(frozen=True, slots=True)
class GivenRow:
    """A row that fits; ``state`` and ``words`` are what becomes of it unless the deed is refused."""

    line: int
    issue: Issue
    page: str
    colourist: User
    due: dt.date | None
    note: str
    state: State
    words: str


def give(**said: Any) -> list[Assignment]:
    """``give_pages``, those of somebody else as well: what is shown before the yes names whose they were."""
    try:
        return give_pages(**said)
    except OthersPages as others:
        return give_pages(**said, seen=others.seen)


class AssignmentTaker:
    """Gives pages as rows say; a blank day or note says nothing of a page that is given already."""

    def __init__(self, series: Series, by: User) -> None:
        self.series, self.by = series, by
        self.issues = Numbered((issue.number, issue) for issue in series.issues.select_related("series"))
        given = series.assignments.select_related("colourist", "issue")
        self.given = {(assignment.issue_id, assignment.page): assignment for assignment in given}
        self.people: dict[str, set[User]] = defaultdict(set)
        for member in series.memberships.select_related("user"):
            if member.may(Permission.MARK):
                for name in {alike(name_of(member.user)), alike(member.user.username)}:
                    self.people[name].add(member.user)

    def take(self, rows: Iterable[SaidRow]) -> list[Fate]:
        fates: list[Fate] = []
        together: dict[Any, list[GivenRow]] = defaultdict(list)
        seen: dict[tuple[int, str], int] = {}
        for said_row in rows:
            outcome = self._read(said_row)
            if isinstance(outcome, GivenRow):
                line = seen.setdefault((outcome.issue.pk, outcome.page), outcome.line)
                if line != outcome.line:
                    outcome = Fate.wrong(outcome.line, f"Line {line} speaks of the same page already.")
            if isinstance(outcome, Fate):
                fates.append(outcome)
            elif outcome.state == State.SAME:
                fates.append(Fate(outcome.line, outcome.state, outcome.words))
            else:
                together[outcome.issue, outcome.colourist, outcome.due, outcome.note].append(outcome)
        for (issue, colourist, due, note), pages in together.items():
            terms = {"issue": issue, "colourist": colourist, "due": due, "note": note, "by": self.by}
            try:
                give(pages=[given.page for given in pages], **terms)
                fates += [Fate(given.line, given.state, given.words) for given in pages]
            except Refused as refusal:
                fates += [Fate.wrong(given.line, str(refusal)) for given in pages]
        return fates

    def _read(self, said_row: SaidRow) -> GivenRow | Fate:
        values, line = said_row.said, said_row.row.line
        page, who = clean_label(values.get("page", "")), one_line(values.get("colourist", ""))
        issue = self.issues.get(one_line(values.get("issue", "")))
        people = self.people.get(alike(who), set())
        if said_row.wrong:
            return Fate.wrong(line, said_row.wrong)
        if not (page and who and values["issue"]):
            return Fate.wrong(line, "It does not say which page of which issue, and whose it is.")
        if issue is None:
            return Fate.wrong(line, f"There is no issue {values['issue'][:40]} in {self.series}.")
        if len(page) > LABEL_LENGTH or len(values["note"]) > NOTE_LENGTH:
            return Fate.wrong(line, f"A note has at most {NOTE_LENGTH} signs, a page {LABEL_LENGTH}.")
        if len(people) != 1:
            why = "Two people are called" if people else "Nobody who colours in this series is called"
            return Fate.wrong(line, f"{why} “{who[:60]}”{': write the user name' if people else ''}.")
        (colourist,) = people
        return self._given(line, issue, page, colourist, values["due"], one_line(values["note"]), said_row.told)

    def _given(
        self, line: int, issue: Issue, page: str, colourist: User, day: str, note: str, notices: tuple[str, ...]
    ) -> GivenRow | Fate:
        was = self.given.get((issue.pk, page))
        due = dt.date.fromisoformat(day) if day else was.due if was else None
        note = note or (was.note if was else "")
        so = f"Page {page} of issue {issue.number}"
        whose = f"{name_of(colourist)}{f', in by {in_words(due)}' if due else ''}"
        if was is None:
            state, words = State.ADDED, f"{so} is given to {whose}."
        elif (was.colourist_id, was.due, was.note) == (colourist.pk, due, note):
            state, words = State.SAME, f"{so} is with {whose} already."
        else:
            before = f"{name_of(was.colourist)}{f', in by {in_words(was.due)}' if was.due else ''}"
            state, words = State.CHANGED, f"{so} was with {before}; it is given to {whose}."
        return GivenRow(line, issue, page, colourist, due, note, state, " ".join((words, *notices)))
