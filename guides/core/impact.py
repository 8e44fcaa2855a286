"""What a change of the bible would do to the flags of a series, worked out before anybody saves it.

Changes of locks are counted in the database, one grouped query a stretch. Anything else is rehearsed: done, looked
at and undone again inside a savepoint, so that what is shown is by construction what would happen.

What was shown is what is saved: a fingerprint of the outcome goes into the form, and saving refuses when the
outcome would be another one now.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from django.db import transaction
from django.db.models import Case, Count, F, Q, Value, When

from bible.colour.gradients import TintOrGradient, ends_of, shifted
from bible.colour.shifts import Shift
from bible.locks.stretches import rule_pieces, until
from bible.models import Issue, Lock, Part, SceneTint, Series
from bible.models.fields import NoTint, TintField
from bible.models.roles import BASE_ROLE
from bible.web.digest import digest
from guides.core.gradients import ways_seen
from guides.core.together import owed as held_together
from guides.core.together import owed_to as held_together_to
from guides.models import Mark, as_expected, second_tint


@dataclass(frozen=True, slots=True)
class LockStretch:
    """A part's role is locked to a tint, or to nothing, at positions ``start <= position < end`` (None: onwards)."""

    part_id: int
    role: str
    start: int
    end: int | None
    tint: TintOrGradient | None


@dataclass(frozen=True, slots=True)
class IssueImpact:
    """Open flags that one issue would gain (``opens``) and lose (``closes``), and whether its sign-off would fall
    (``reopens``) or, fallen before, stand again (``stands``)."""

    issue: Issue
    opens: int
    closes: int
    reopens: bool = False
    stands: bool = False


@dataclass(frozen=True, slots=True)
class Impact:
    """What would happen, issue by issue in running order. ``token`` stands for exactly this answer."""

    rows: tuple[IssueImpact, ...]
    token: str

    @property
    def opens(self) -> int:
        return sum(row.opens for row in self.rows)

    @property
    def closes(self) -> int:
        return sum(row.closes for row in self.rows)

    @property
    def signed_off(self) -> list[IssueImpact]:
        """Issues that have been signed off: what touches them opens them again."""
        return [row for row in self.rows if row.issue.signed_off_at]

    @property
    def reopened(self) -> list[Issue]:
        """Issues whose sign-off would fall."""
        return [row.issue for row in self.rows if row.reopens]

    @property
    def stand_again(self) -> list[Issue]:
        """Issues whose sign-off fell and would stand again."""
        return [row.issue for row in self.rows if row.stands]

    @property
    def in_work(self) -> list[IssueImpact]:
        return [row for row in self.rows if not row.issue.signed_off_at]

    def __bool__(self) -> bool:
        return bool(self.rows)


def of_lock(part: Part, role: str, tint: TintOrGradient, start: int, end: int | None) -> Impact:
    """Of locking a tint; other roles that follow this base by a rule are counted with it."""
    end = until(part, role, start, end)
    return _counted(part, [LockStretch(part.pk, role, start, end, tint), *_followers(part, role, tint, start, end)])


def of_rule(part: Part, role: str, rule: Shift, start: int, end: int | None) -> Impact:
    """Of locking another role by a rule on its base."""
    end = until(part, role, start, end)
    stretches = []
    reached: int | None = start
    for begins, ends, tint in rule_pieces(part, rule, start, end):
        if reached is not None and begins > reached:
            stretches.append(LockStretch(part.pk, role, reached, begins, None))
        stretches.append(LockStretch(part.pk, role, begins, ends, tint))
        reached = ends
    if reached is not None and reached != end:
        stretches.append(LockStretch(part.pk, role, reached, end, None))
    return _counted(part, stretches)


def of_end(lock: Lock, at_position: int) -> Impact:
    """Of letting a lock hold no longer from a position on."""
    start, end, part = max(at_position, lock.from_position), lock.to_position, lock.part
    if end is not None and start >= end:
        return _counted(part, [])
    return _counted(
        part, [LockStretch(part.pk, lock.role, start, end, None), *_followers(part, lock.role, None, start, end)]
    )


def of_correction(lock: Lock, tint: TintOrGradient) -> Impact:
    """Of putting a lock's tint right for the whole of its time."""
    start, end, part = lock.from_position, lock.to_position, lock.part
    return _counted(
        part, [LockStretch(part.pk, lock.role, start, end, tint), *_followers(part, lock.role, tint, start, end)]
    )


def _followers(part: Part, role: str, tint: TintOrGradient | None, start: int, end: int | None) -> list[LockStretch]:
    """Where locks follow this base by a rule, and to what the new base takes them."""
    if role != BASE_ROLE:
        return []
    chart = part.costume.subject.series.chart
    return [
        LockStretch(
            part.pk,
            lock.role,
            max(lock.from_position, start),
            min((stop for stop in (lock.to_position, end) if stop is not None), default=None),
            None if tint is None else shifted(tint, lock.rule, chart),
        )
        for lock in Lock.objects.filter(part=part).exclude(role=BASE_ROLE).overlapping(start, end)
        if lock.rule_data
    ]


def _counted(part: Part, stretches: list[LockStretch]) -> Impact:
    opens: Counter[int] = Counter()
    closes: Counter[int] = Counter()
    owing: Counter[int] = Counter()
    for stretch in stretches:
        for position, opened, closed, otherwise in _count(stretch, part):
            opens[position] += opened
            closes[position] += closed
            owing[position] += otherwise
    series = part.costume.subject.series
    positions = {*opens, *closes, *owing}
    if not positions:
        return impact_of({})
    by_issue = {}
    for issue in series.issues.filter(position__gte=min(positions), position__lte=max(positions)):
        reopens = bool(issue.signed_off_at and owing[issue.position])
        if reopens or opens[issue.position] or closes[issue.position]:
            by_issue[issue] = (opens[issue.position], closes[issue.position], reopens)
    return impact_of(by_issue)


def _count(stretch: LockStretch, part: Part) -> list[tuple[int, int, int, int]]:
    """(position, flags that would open, flags that would close, marks that would owe another tint) for every issue
    where there are any."""
    after, after_to = _owed_after(stretch, part)
    marks = Mark.objects.live().filter(
        part_id=stretch.part_id, role=stretch.role, position__gte=stretch.start, part__isnull=False
    )
    if stretch.end is not None:
        marks = marks.filter(position__lt=stretch.end)
    marks = marks.alias(after=after, after_to=after_to)
    is_open = ~as_expected() & Q(waived=False)
    same = Q(expected=F("after"), expected_to=F("after_to"))
    # A waiver goes on only where nothing that it speaks of changes.
    will_be_open = ~Q(tint=F("after"), after_to=second_tint()) & ~(Q(waived=True) & same)
    rows = (
        marks.order_by()
        .values("position")
        .annotate(
            # Counting positions instead of keys, so that the index alone answers.
            opened=Count("position", filter=~is_open & will_be_open),
            closed=Count("position", filter=is_open & ~will_be_open),
            otherwise=Count("position", filter=~same),
        )
        .values_list("position", "opened", "closed", "otherwise")
    )
    return [row for row in rows if row[1] or row[2] or row[3]]


def _owed_after(stretch: LockStretch, part: Part) -> tuple[Case, Case]:
    """What the marks of a stretch would owe, and what they would have to fade to."""
    first = [When(expected=NoTint.OUT_OF_USE, then=F("expected"))]
    second = [When(expected=NoTint.OUT_OF_USE, then=F("expected_to"))]
    if stretch.tint is None:
        held = part.is_held_together
        first.append(When(live=True, then=held_together() if held else Value(NoTint.NO_LOCK.value)))
        second += [When(live=True, then=held_together_to())] if held else []
    else:
        ends = [tint for tint in ends_of(stretch.tint) if tint]
        of_series = SceneTint.objects.filter(scene__series__subjects__costumes__parts=stretch.part_id)
        moved = list(of_series.filter(tint__in=ends).values_list("tint", "scene_id", "shifted"))
        for (begin, end), way in ways_seen(stretch.tint):
            seen = way & Q(live=True)
            for cases, owed in ((first, begin), (second, end)):
                there = [(scene, to) for tint, scene, to in moved if tint == owed]
                cases += [When(seen, scene_id=scene, then=Value(to.packed)) for scene, to in there]
                if owed:
                    cases.append(When(seen, then=Value(owed.packed)))
    flat = Value(NoTint.FLAT.value)
    return Case(*first, output_field=TintField()), Case(*second, default=flat, output_field=TintField())


class _Rehearsed(Exception):
    """Carries nothing: it only rolls the savepoint back."""


def rehearse(series: Series, deed: Callable[[], object], parts: Iterable[int] | None = None) -> Impact:
    """What ``deed`` would do to the open flags of a series. It is done and undone; objects it holds must be its own.

    Refusals of the deed come through.

    Args:
        parts: where the deed touches no mark but those of these parts; all are looked at without.
    """
    marks = Mark.objects.filter(series=series)
    if parts is not None:
        marks = marks.filter(part__in=set(parts))
    before = set(marks.open().values_list("pk", flat=True))
    signed = set(series.issues.signed_off().values_list("pk", flat=True))
    after: set[int] = set()
    signed_then: set[int] = set()
    opened: Counter[int] = Counter()
    try:
        with transaction.atomic():
            deed()
            after = set(marks.open().values_list("pk", flat=True))
            opened = _by_issue(after - before)  # while marks are there that the deed has made
            signed_then = set(series.issues.signed_off().values_list("pk", flat=True))
            raise _Rehearsed
    except _Rehearsed:
        pass
    closed = _by_issue(before - after)
    issues = series.issues.filter(pk__in={*opened, *closed} | (signed ^ signed_then))
    return impact_of(
        {
            issue: (
                opened[issue.pk],
                closed[issue.pk],
                issue.pk in signed - signed_then,
                issue.pk in signed_then - signed,
            )
            for issue in issues
        }
    )


def _by_issue(mark_ids: set[int]) -> Counter[int]:
    counts: Counter[int] = Counter()
    ids = sorted(mark_ids)
    for begin in range(0, len(ids), 10_000):
        some = Mark.objects.filter(pk__in=ids[begin : begin + 10_000])
        counts.update(some.order_by().values_list("guide__issue_id", flat=True))
    return counts


def impact_of(by_issue: Mapping[Issue, tuple[int, int, bool] | tuple[int, int, bool, bool]]) -> Impact:
    """From (flags that open, flags that close, whether its sign-off falls, and whether it stands again) by issue."""
    rows = tuple(
        IssueImpact(issue, *counted) for issue, counted in sorted(by_issue.items(), key=lambda item: item[0].position)
    )
    content = [
        [row.issue.pk, row.opens, row.closes, bool(row.issue.signed_off_at), row.reopens, row.stands] for row in rows
    ]
    return Impact(rows, digest(json.dumps(content)))
