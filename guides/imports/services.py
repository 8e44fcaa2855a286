"""A table, tried and taken: what would become of every row, and doing exactly that on a yes.

Rows are tried by doing it inside a savepoint that is rolled back, so what is shown is by construction what a yes
does; the yes carries a fingerprint of every row's fate. What a table leaves open is asked, and nothing is taken
before it is answered: guessing would lock wrong tints silently.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import partial
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

import numpy as np
from django.db import transaction
from django.utils import timezone

from bible.colour.colorimetry import srgb_to_lab
from bible.colour.difference import delta_e_2000
from bible.colour.tints import as_array
from bible.models import Issue, Part, Series
from bible.series.holding import hold_series
from bible.series.presses import condition
from bible.series.refusals import Refused
from bible.web.digest import WHOLE, digest
from guides.core.impact import Impact, rehearse
from guides.imports.assignment_rows import AssignmentTaker
from guides.imports.bible_reading import BibleReader, BibleRow, contradictions
from guides.imports.bible_rows import BibleTaker
from guides.imports.columns import TableField, guess
from guides.imports.fates import Fate, Fates
from guides.imports.issue_rows import IssueRow, backwards, read_issue, take_issues
from guides.imports.mark_rows import MarkReader, PageMark, take_marks
from guides.imports.near_names import as_meant, near_names, near_question
from guides.imports.opening import FIELDS, Columns, Opened, open_table
from guides.imports.questions import NO_ANSWERS, Answers, Question, ask
from guides.imports.saying import Sayer, Sayings
from guides.imports.scene_rows import SceneTaker
from guides.imports.series_words import ROLE_WORDS, SeriesWords, reader_of
from guides.imports.texts import alike, listed, normal
from guides.imports.undoing import as_it_is, made_since
from guides.imports.waiver_rows import WaiverTaker
from guides.models import BroughtTable, NamedHeading

if TYPE_CHECKING:
    from django.contrib.auth.models import User

__all__ = ["FIELDS", "Columns", "Opened", "open_table"]

Kind = BroughtTable.Kind
_HEX = re.compile("[0-9A-Fa-f]{6}")


class TableMoved(Refused):
    """What would happen now is not what somebody said yes to; ``fates`` is what it is now."""

    def __init__(self, fates: Fates) -> None:
        self.fates = fates
        super().__init__("What would happen has changed since this was shown. Look at it now, then say yes.")


class Unanswered(Refused):
    """What the table leaves open has not been decided; ``questions`` says what."""

    def __init__(self, questions: tuple[Question, ...]) -> None:
        self.questions = questions
        super().__init__(
            f"Nothing is taken before this is answered: {' '.join(question.words for question in questions)}"
        )


@dataclass(frozen=True, slots=True)
class Trial:
    """What would happen: to every row, and to the flags."""

    fates: Fates
    impact: Impact


def words_of(series: Series, kind: str) -> SeriesWords:
    """What a series' own words make of a table of a kind."""
    near: dict[str, Any]
    roles = {word: role for word, role in ROLE_WORDS.items() if role in series.roles}
    roles |= {normal(word): role.key for role in series.roles for word in (role.key, role.name)}
    remembered = dict(series.named_headings.filter(kind=kind).values_list("heading", "field"))
    near = {}
    if kind == Kind.BIBLE:
        subjects = series.subjects.values_list("name", flat=True)
        parts = Part.objects.filter(costume__subject__series=series).values_list("name", flat=True)
        near = {"nearest": partial(_nearest_code, series), "press": condition(series).title}
        near["known"] = frozenset(map(alike, (*subjects, *parts)))
    return SeriesWords(reader_of(series.notation), roles=roles, remembered=remembered, **near)


def _nearest_code(series: Series, colour: str) -> tuple[str, float] | None:
    """See ``Nearest``."""
    if not _HEX.fullmatch(colour):
        return None
    lab = srgb_to_lab(np.frombuffer(bytes.fromhex(colour), dtype=np.uint8))
    differences = delta_e_2000(condition(series).relative_lab(as_array(series.chart.tints)), lab)
    at = int(np.argmin(differences))
    return series.write(series.chart.tints[at]), float(differences[at])


def open_for(series: Series, kind: str, data: bytes, filename: str, answers: Answers = NO_ANSWERS) -> Opened:
    """A file opened with the series' own words. Raises ``UnreadableTable``."""
    return open_table(data, filename, kind, answers, words_of(series, kind))


def missing(kind: str, columns: Columns, across: str = "") -> list[TableField]:
    """Fields without which no row can be taken, and for which no column was named."""
    return [
        field for field in FIELDS[kind] if field.required and columns.get(field.name) is None and field.name != across
    ]


@transaction.atomic
def keep(*, series: Series, kind: str, data: bytes, filename: str, by: User) -> BroughtTable:
    """Keep a file for its look and its yes. Raises ``UnreadableTable``; tables that nobody took are thrown away."""
    opened = open_for(series, kind, data, filename)
    BroughtTable.objects.filter(series=series).stale().delete()
    return BroughtTable.objects.create(
        series=series,
        kind=kind,
        filename=PurePath(filename.replace("\\", "/")).name[-200:] or "table",
        sha256=digest(data, WHOLE),
        data=data,
        columns=opened.headings.guess,
        brought_by=by,
    )


def try_out(
    series: Series,
    kind: str,
    opened: Opened,
    columns: Columns,
    by: User,
    changes_from: Issue | None = None,
    answers: Answers = NO_ANSWERS,
) -> Trial:
    """Do it, look, and undo it: what is shown is by construction what would happen."""
    fates: list[Fates] = []
    do = partial(_take, series, kind, opened, columns, by, changes_from, answers)
    impact = rehearse(series, lambda: fates.append(do()))
    return Trial(fates[0], impact)


@transaction.atomic
def take(
    *,
    series: Series,
    kind: str,
    opened: Opened,
    columns: Columns,
    by: User,
    token: str | None = None,
    changes_from: Issue | None = None,
    answers: Answers = NO_ANSWERS,
) -> Fates:
    """Take the rows that fit; the others are left out. Raises ``Unanswered`` where the table leaves something open.

    Args:
        answers: what somebody said to the table's questions.
        changes_from: where a row of the bible holds from that says another code than is locked, and no issue.
        token: ``Fates.token`` of what was shown; ``TableMoved`` if it would be something else now: nothing is taken.
    """
    hold_series(series.pk)
    fates = _take(series, kind, opened, columns, by, changes_from, answers)
    if fates.open:
        raise Unanswered(fates.open)
    if token is not None and token != fates.token:
        raise TableMoved(fates)
    return fates


@transaction.atomic
def take_kept(
    *,
    table: BroughtTable,
    columns: Columns,
    by: User,
    token: str,
    changes_from: Issue | None = None,
    answers: Answers = NO_ANSWERS,
) -> Fates:
    """``take`` a kept table, note what became of it, remember what its columns were called, and let the file go. A
    second yes is refused."""
    hold_series(table.series_id)
    table = BroughtTable.objects.select_for_update().select_related("series").get(pk=table.pk)
    if table.taken_at or table.data is None:
        raise Refused("This table has been taken already.")
    opened = open_for(table.series, table.kind, bytes(table.data), table.filename, answers)
    before = as_it_is(table.series, table.kind)
    fates = take(
        series=table.series,
        kind=table.kind,
        opened=opened,
        columns=columns,
        by=by,
        token=token,
        changes_from=changes_from,
        answers=answers,
    )
    remember(table.series, table.kind, opened, columns)
    table.taken_at, table.data, table.columns = timezone.now(), None, dict(columns)
    table.outcome, table.made = fates.counts, made_since(table.series, before)
    table.save()
    return fates


def remember(series: Series, kind: str, opened: Opened, columns: Columns) -> None:
    """Keep what somebody called columns by hand, for the next table of this kind."""
    if opened.headings.row is None:
        return
    known = guess(opened.headings.row.cells, FIELDS[kind])
    for name, column in columns.items():
        heading = normal(opened.headings.row.cell(column))[: NamedHeading.HEADING_LENGTH]
        if heading and column is not None and known.get(name) != column:
            NamedHeading.objects.update_or_create(series=series, kind=kind, heading=heading, defaults={"field": name})


def _take(
    series: Series,
    kind: str,
    opened: Opened,
    columns: Columns,
    by: User,
    changes_from: Issue | None,
    answers: Answers,
) -> Fates:
    sayings = Sayer(opened, kind, columns, words_of(series, kind), answers).say()
    fates = _TAKERS[Kind(kind)](series, sayings, by, changes_from, answers)
    return replace(
        fates,
        told=tuple(sayings.told),
        unread=tuple(sayings.unread),
        questions=(*_still_asked(opened, columns), *sayings.questions, *fates.questions),
    )


def _still_asked(opened: Opened, columns: Columns) -> list[Question]:
    """What the file left open; where somebody has named the column of codes, no others are asked about."""
    named = columns.get("code") is not None
    return [question for question in opened.questions if not (named and question.key == "across")]


def _take_scenes(series: Series, sayings: Sayings, by: User, changes_from: Issue | None, answers: Answers) -> Fates:
    return Fates.of(SceneTaker(series, by).take(sayings.rows))


def _take_waivers(series: Series, sayings: Sayings, by: User, changes_from: Issue | None, answers: Answers) -> Fates:
    return Fates.of(WaiverTaker(series, by).take(sayings.rows))


def _take_pages(series: Series, sayings: Sayings, by: User, changes_from: Issue | None, answers: Answers) -> Fates:
    return Fates.of(AssignmentTaker(series, by).take(sayings.rows))


def _take_marks(series: Series, sayings: Sayings, by: User, changes_from: Issue | None, answers: Answers) -> Fates:
    reader = MarkReader(series)
    outcomes = [reader.read(said_row) for said_row in sayings.rows]
    fates = [row for row in outcomes if isinstance(row, Fate)]
    return Fates.of([*fates, *take_marks([row for row in outcomes if isinstance(row, PageMark)], by)])


def _take_issues(series: Series, sayings: Sayings, by: User, changes_from: Issue | None, answers: Answers) -> Fates:
    outcomes = [read_issue(said_row) for said_row in sayings.rows]
    fates = [row for row in outcomes if isinstance(row, Fate)]
    issues = [row for row in outcomes if isinstance(row, IssueRow)]
    return Fates.of([*fates, *take_issues(series, issues, by)], backwards(issues))


def _take_bible(series: Series, sayings: Sayings, by: User, changes_from: Issue | None, answers: Answers) -> Fates:
    reader = BibleReader(series, answers.get("one-issue", ""))
    outcomes = [reader.read(said_row) for said_row in sayings.rows]
    fates = [row for row in outcomes if isinstance(row, Fate)]
    rows = [row for row in outcomes if isinstance(row, BibleRow)]
    taker = BibleTaker(series, by, changes_from)
    near = near_names(((row.line, row.names) for row in rows), taker.known)
    if answers.get("near") == "same":
        rows = [replace(row, names=as_meant(row.names, near)) for row in rows]
    clashing = contradictions(rows)
    taken = taker.take(row for row in rows if row.at not in clashing)
    questions = [*near_question(near, answers), *_lone_question(reader, answers)]
    return replace(Fates.of([*fates, *clashing.values(), *taken]), questions=tuple(questions))


def _lone_question(reader: BibleReader, answers: Answers) -> list[Question]:
    """What a single number means in a column of issues."""
    if not reader.lone:
        return []
    where = listed(reader.lone)
    words = f"A row names one issue alone ({where}). Does its code hold in that issue only, or from it on?"
    choices = (
        ("only", "in that issue only"),
        ("on", "from that issue on"),
        ("no", "neither: the number is no issue, the row holds always"),
    )
    return [ask("one-issue", words, choices, answers)]


_TAKERS = {
    Kind.BIBLE: _take_bible,
    Kind.MARKS: _take_marks,
    Kind.ISSUES: _take_issues,
    Kind.SCENES: _take_scenes,
    Kind.WAIVERS: _take_waivers,
    Kind.ASSIGNMENTS: _take_pages,
}
