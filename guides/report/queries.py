"""Counting for the continuity report. The database counts; what comes out of it here is some hundreds of rows.

Compared are the live marks of known parts that read and for which something is locked. A flag that a lead has allowed
is a decision, no slip: it is counted apart and is in none of the lists. In an edition a mark is right that says what
the first printing has or what the edition needs; one that says neither is held against what the edition needs.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from bible.colour.difference import SeverityBand, severity
from bible.colour.press import PressCondition
from bible.colour.tints import Tint
from bible.models import Edition, Issue, Part, Series, Subject
from bible.web.names import names_of
from guides.core.flags import differences_of
from guides.core.in_editions import comparable_in, differing_in, marks_in, right_in
from guides.core.runs import IssueRun
from guides.models import MarkQuerySet

One = TypeVar("One")

SUBJECTS_SHOWN = 30
DRIFTS_SHOWN = 8
COLOURISTS_SHOWN = 20
SLIPS_SHOWN = 3
SIDE = 12
"""Codes along a side of the matrix: what a page of paper takes across. The others are one row and one column."""
PAIRS_SHOWN = 15
HELD_NAMED = 60


@dataclass(frozen=True, slots=True)
class Drift:
    """A part's role that was marked with another tint than the locked one, on ``marks`` marks of some issues.

    ``goes_on``: the newest issue in which the part is marked still has it.
    """

    part: Part
    role: str
    wrote: Tint
    locked: Tint
    marks: int
    first: Issue
    last: Issue
    goes_on: bool


@dataclass(frozen=True, slots=True)
class SubjectLine:
    """A subject in numbers of marks. ``drifts`` are the commonest ones, ``more`` how many others there are."""

    subject: Subject
    marks: int
    differing: int
    allowed: int
    parts: int
    parts_held: int
    drifts: tuple[Drift, ...]
    more: int


@dataclass(frozen=True, slots=True)
class Confusion:
    """``wrote`` stood on ``marks`` marks where ``locked`` was the code; ``delta_e`` is CIEDE2000 in print."""

    wrote: Tint
    locked: Tint
    marks: int
    delta_e: float
    severity: SeverityBand


@dataclass(frozen=True, slots=True)
class ColouristLine:
    """A colourist in numbers of marks; ``key`` None: pages on which nobody is named."""

    key: int | None
    name: str
    marks: int
    differing: int
    slips: tuple[Confusion, ...]

    @property
    def share(self) -> float:
        return 100 * self.differing / self.marks


@dataclass(frozen=True, slots=True)
class ConfusionCell:
    """``shade`` 0 (none) to 4 (about as many as the fullest cell has)."""

    wrote: Tint
    locked: Tint
    marks: int
    shade: int = 0


@dataclass(frozen=True, slots=True)
class ConfusionMatrix:
    """Written codes down, locked codes across. ``rows``: (written, cells, how many of other locked codes, total).

    ``others``: the codes that have no row of their own, together: (marks, how many codes).
    """

    locked: tuple[Tint, ...]
    rows: tuple[tuple[Tint, tuple[ConfusionCell, ...], int, int], ...]
    others: tuple[int, int]

    @property
    def has_more_locked(self) -> bool:
        return any(row[2] for row in self.rows)


@dataclass(frozen=True, slots=True)
class Report:
    """Everything the page and the PDF show. ``held`` are subjects without a difference, the first of them named."""

    series: Series
    run: IssueRun
    edition: Edition | None
    press: PressCondition
    marks: int
    differing: int
    allowed: int
    subjects: tuple[SubjectLine, ...]
    subjects_more: int
    held: tuple[Subject, ...]
    held_count: int
    colourists: tuple[ColouristLine, ...]
    colourists_more: int
    pairs: tuple[Confusion, ...]
    pairs_more: int
    matrix: ConfusionMatrix

    @property
    def about(self) -> str:
        """“issues 40 to 60”, “all issues in the edition Album”."""
        return f"{self.run} in the edition {self.edition}" if self.edition else str(self.run)

    @property
    def held_more(self) -> int:
        return self.held_count - len(self.held)

    @property
    def agreeing(self) -> int:
        return self.marks - self.differing - self.allowed


def marks_of(series: Series, run: IssueRun, edition: Edition | None = None) -> MarkQuerySet:
    return marks_in(series, edition).filter(**run.lookups)


def make_report(
    series: Series, run: IssueRun, press: PressCondition, edition: Edition | None = None, *, whole: bool = False
) -> Report:
    """The report of a run of issues, or of those of them that an edition collects, against what that needs. The
    number of queries is fixed. ``whole``: lists of any length, none cut."""

    def most(limit: int) -> int | None:
        return None if whole else limit

    marks = marks_of(series, run, edition)
    comparable, differing = comparable_in(marks, edition), differing_in(marks, edition)
    parts = {row.part: row for row in comparable.of_parts_of(series).counts_by_part(right_in(edition))}
    lines, holding = _subjects(series, parts, list(differing.drifts()), most(DRIFTS_SHOWN))
    by_colourist = list(differing.confusions())
    pairs = _pairs(by_colourist, press)
    totals = dict(comparable.counts_by_colourist())
    subjects, subjects_more = _cut(lines, most(SUBJECTS_SHOWN))
    held, _ = _cut(holding, most(HELD_NAMED))
    colourists, colourists_more = _cut(_colourists(totals, by_colourist, pairs), most(COLOURISTS_SHOWN))
    commonest, pairs_more = _cut(pairs.values(), most(PAIRS_SHOWN))
    return Report(
        series=series,
        run=run,
        edition=edition,
        press=press,
        marks=sum(row.marks for row in parts.values()),
        differing=sum(row.differing for row in parts.values()),
        allowed=sum(row.allowed for row in parts.values()),
        subjects=subjects,
        subjects_more=subjects_more,
        held=held,
        held_count=len(holding),
        colourists=colourists,
        colourists_more=colourists_more,
        pairs=commonest,
        pairs_more=pairs_more,
        matrix=_matrix({pair: confusion.marks for pair, confusion in pairs.items()}),
    )


def _cut(rows: Iterable[One], limit: int | None) -> tuple[tuple[One, ...], int]:
    """As much of a list as a limit lets through (None: all of it), and how many are left out."""
    everything = tuple(rows)
    shown = everything[:limit]
    return shown, len(everything) - len(shown)


def _subjects(
    series: Series, parts: dict[int, Any], drifts: list[Any], shown: int | None
) -> tuple[list[SubjectLine], list[Subject]]:
    """Those with differences, most of them first, and those that held, by name."""
    named = Part.objects.with_names().in_bulk(parts)
    by_subject = _drifts(series, parts, drifts, named)
    together: dict[int, list[int]] = defaultdict(list)
    for key in parts:
        together[named[key].costume.subject_id].append(key)
    lines, held = [], []
    for subject_id, keys in together.items():
        subject = named[keys[0]].costume.subject
        subject.series = series
        if of_subject := by_subject.get(subject_id):
            lines.append(_line(subject, [parts[key] for key in keys], of_subject, shown))
        else:
            held.append(subject)
    lines.sort(key=lambda line: (-line.differing, line.subject.name))
    return lines, sorted(held, key=lambda subject: subject.name)


def _drifts(
    series: Series, parts: dict[int, Any], drifts: list[Any], named: dict[int, Part]
) -> dict[int, list[Drift]]:
    """What differs of each subject, by its key."""
    ends = [position for drift in drifts for position in (drift.first, drift.last)]
    issues = _issues(series, ends)
    by_subject: dict[int, list[Drift]] = defaultdict(list)
    for row in drifts:
        part = named[row.part]
        by_subject[part.costume.subject_id].append(
            Drift(
                part=part,
                role=row.role,
                wrote=row.tint,
                locked=row.needed,
                marks=row.marks,
                first=issues[row.first],
                last=issues[row.last],
                goes_on=row.last == parts[part.pk].last,
            )
        )
    return by_subject


def _line(subject: Subject, rows: list[Any], drifts: list[Drift], shown: int | None) -> SubjectLine:
    """A subject with differences, those of most marks first; ``rows`` has the counts of its parts."""
    drifts.sort(key=lambda drift: (-drift.marks, drift.first.position, drift.part.pk))
    drifts_shown, more = _cut(drifts, shown)
    return SubjectLine(
        subject=subject,
        marks=sum(row.marks for row in rows),
        differing=sum(row.differing for row in rows),
        allowed=sum(row.allowed for row in rows),
        parts=len(rows),
        parts_held=sum(not row.differing for row in rows),
        drifts=drifts_shown,
        more=more,
    )


def _issues(series: Series, positions: Iterable[int]) -> dict[int, Issue]:
    """Issues by position: all between the ends, since a list of them could be longer than a statement takes."""
    asked = set(positions)
    if not asked:
        return {}
    between = series.issues.filter(position__gte=min(asked), position__lte=max(asked))
    issues = {issue.position: issue for issue in between if issue.position in asked}
    for issue in issues.values():
        issue.series = series
    return issues


def _pairs(rows: Iterable[Any], press: PressCondition) -> dict[tuple[Tint, Tint], Confusion]:
    """Every (written, locked) pair with its marks and difference, the commonest first."""
    counted: Counter[tuple[Tint, Tint]] = Counter()
    for row in rows:
        counted[row.tint, row.needed] += row.marks
    pairs = sorted(counted, key=lambda pair: (-counted[pair], pair))
    differences = differences_of(pairs, press)
    return {
        (wrote, locked): Confusion(wrote, locked, counted[wrote, locked], float(delta), severity(float(delta)))
        for (wrote, locked), delta in zip(pairs, differences, strict=True)
    }


def _colourists(
    totals: dict[int | None, int], rows: Iterable[Any], pairs: dict[tuple[Tint, Tint], Confusion]
) -> list[ColouristLine]:
    """Whoever has compared marks, those with the most differences first."""
    slips: dict[int | None, list[Confusion]] = defaultdict(list)
    for row in rows:
        slips[row.guide__colourist].append(replace(pairs[row.tint, row.needed], marks=row.marks))
    names = names_of(key for key in totals if key)
    lines = []
    for key, marks in totals.items():
        slipped = sorted(slips[key], key=lambda slip: -slip.marks)
        name = names[key] if key else "nobody named"
        lines.append(
            ColouristLine(key, name, marks, sum(slip.marks for slip in slipped), tuple(slipped[:SLIPS_SHOWN]))
        )
    return sorted(lines, key=lambda line: (-line.differing, line.name))


def _matrix(pairs: dict[tuple[Tint, Tint], int]) -> ConfusionMatrix:
    written: Counter[Tint] = Counter()
    locked: Counter[Tint] = Counter()
    for (wrote, due), marks in pairs.items():
        written[wrote] += marks
        locked[due] += marks
    down, across = _commonest(written), _commonest(locked)
    most = max(pairs.values(), default=0)
    rows = []
    for wrote in down:
        cells = tuple(
            ConfusionCell(wrote, due, marks, -(-4 * marks // most))
            for due in across
            for marks in (pairs.get((wrote, due), 0),)
        )
        rows.append((wrote, cells, written[wrote] - sum(cell.marks for cell in cells), written[wrote]))
    rest = [wrote for wrote in written if wrote not in down]
    return ConfusionMatrix(tuple(across), tuple(rows), (sum(written[wrote] for wrote in rest), len(rest)))


def _commonest(counted: Counter[Tint]) -> list[Tint]:
    return sorted(counted, key=lambda tint: (-counted[tint], tint))[:SIDE]
