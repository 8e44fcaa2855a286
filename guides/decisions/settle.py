"""Settling a bible from its guides: what the marks of old issues say was in force, for the lead to accept.

Only roles that nothing stands locked for are read, of parts that are offered, and only marks outside any scene: a
scene shifts tints on purpose. Codes from old guides are evidence, not orders. Codes that were found on a page and
that nobody has looked at speak too, each a quarter as loud as a mark, and make nothing clear by themselves.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from django.db import transaction
from django.db.models import Exists, OuterRef, Q

from bible.colour.gradients import Gradient, TintOrGradient, ends_of
from bible.colour.notation import NotationError
from bible.locks.afresh import lock_histories
from bible.models import Issue, Lock, Part, Series, Subject
from bible.models.roles import Role
from bible.series.holding import hold_series
from bible.series.refusals import Refused
from bible.series.running_order import RunningOrder
from bible.web.digest import digest
from bible.web.names import counted
from guides.core.impact import rehearse
from guides.decisions.changepoints import SLIP, stretches, tabulate
from guides.models import FoundCode, FoundCodeQuerySet, Mark, MarkQuerySet

if TYPE_CHECKING:
    from django.contrib.auth.models import User

    from bible.models import PartQuerySet

ODD_SHOWN = 12
REASON = "Built from old pages"


@dataclass(frozen=True, slots=True)
class Evidence:
    """One mark that says another code than the stretch it stands in."""

    mark_id: int
    guide_id: int
    issue: str
    page: str
    tint: TintOrGradient


@dataclass(frozen=True, slots=True)
class Suggested:
    """One lock that the marks speak for; ``tint`` may be a gradient. ``unconfirmed``: found codes that say it too and
    that nobody has looked at."""

    tint: TintOrGradient
    first: Issue
    last: Issue
    from_position: int
    to_position: int | None
    agree: int
    pages: int
    odd: tuple[Evidence, ...]
    firm: bool
    unconfirmed: int = 0

    @property
    def evidence(self) -> str:
        """What speaks for it, in words."""
        marks = f"{counted(self.agree, 'mark')} on {counted(self.pages, 'page')}" if self.agree else "no mark"
        unseen = f", {counted(self.unconfirmed, 'found code')} nobody has looked at" if self.unconfirmed else ""
        return marks + unseen

    @property
    def odd_shown(self) -> tuple[Evidence, ...]:
        return self.odd[:ODD_SHOWN]


@dataclass(frozen=True, slots=True)
class Settlement:
    """The history of one part and role."""

    part: Part
    role: Role
    locks: tuple[Suggested, ...]

    @property
    def key(self) -> str:
        return f"{self.part.pk}-{self.role.key}"

    @property
    def is_firm(self) -> bool:
        return all(lock.firm for lock in self.locks)


MARK, FOUND = 4, 1
"""What a mark and a found code weigh: a person has looked at the one, nobody at the other (a guess: no source)."""


class _Row(NamedTuple):
    """What a mark says, or a found code (``mark`` None)."""

    mark: int | None
    guide: int
    position: int
    value: TintOrGradient
    page: str

    @property
    def weight(self) -> int:
        return FOUND if self.mark is None else MARK


def said(series: Series) -> MarkQuerySet:
    """Readable live marks of parts, outside scenes: what a history is read from."""
    whole = Q(to_tint=None) | Q(to_tint__gte=0)
    return Mark.objects.filter(whole, series=series, part__isnull=False, scene=None, tint__gte=0).live()


def _locked() -> Exists:
    return Exists(Lock.objects.standing().filter(part=OuterRef("part"), role=OuterRef("role")))


def unsettled(series: Series) -> MarkQuerySet:
    """What is said of parts and roles that nothing stands locked for."""
    return said(series).filter(~_locked())


def unsettled_witnesses(series: Series) -> FoundCodeQuerySet:
    """Found codes of parts and roles that nothing stands locked for."""
    return FoundCode.objects.filter(series=series).witnesses().filter(~_locked())


def settle(series: Series, parts: PartQuerySet, order: RunningOrder | None = None) -> list[Settlement]:
    """What the marks of some parts speak for, in the order of the parts; three queries whatever their number."""
    order = order or RunningOrder.of(series)
    by_id = {part.pk: part for part in parts.of_series(series).with_names()}
    rows: dict[tuple[int, str], list[_Row]] = defaultdict(list)
    marks = unsettled(series).filter(part__in=list(by_id)).order_by("position", "page_order", "id")
    fields = ("part_id", "role", "id", "guide_id", "position", "guide__page", "tint", "to_tint")
    for part_id, role, mark, guide, position, page, tint, to_tint in marks.values_list(*fields):
        value = tint if to_tint is None else Gradient(tint, to_tint)
        rows[part_id, role].append(_Row(mark, guide, position, value, page))
    _add_witnesses(rows, series, list(by_id))
    place = {part_id: number for number, part_id in enumerate(by_id)}
    keys = sorted(rows, key=lambda key: (place[key[0]], series.roles.rank(key[1])))
    return [
        Settlement(by_id[part], series.roles.get(role) or Role(role, role), _history(rows[part, role], order))
        for part, role in keys
    ]


def _add_witnesses(rows: dict[tuple[int, str], list[_Row]], series: Series, parts: list[int]) -> None:
    """Found codes among the marks, in the running order."""
    witnesses = unsettled_witnesses(series).filter(part__in=parts).order_by("guide__issue__position", "number")
    fields = ("part_id", "role", "guide_id", "guide__issue__position", "guide__page", "code")
    touched = set()
    for part, role, guide, position, page, code in witnesses.values_list(*fields):
        with suppress(NotationError):
            rows[part, role].append(_Row(None, guide, position, series.read(code), page))
            touched.add((part, role))
    for key in touched:
        rows[key].sort(key=lambda row: row.position)


def _number(value: TintOrGradient) -> int:
    """One number for a tint or a gradient, below 2**63: a gradient is one value among the others."""
    start, end = ends_of(value)
    return start.packed << 32 | (0 if end is None else end.packed + 1)


def _history(rows: list[_Row], order: RunningOrder) -> tuple[Suggested, ...]:
    index = {issue.position: number for number, issue in enumerate(order.issues)}
    readings = [(index[row.position], _number(row.value), row.weight) for row in rows]
    values = {_number(row.value): row.value for row in rows}
    table, codes = tabulate(readings, len(order.issues))
    runs = stretches(table, slip=SLIP / MARK)
    by_stretch: list[list[_Row]] = [[] for _ in runs]
    starts = [order.issues[run.first].position for run in runs]
    at = 0
    for row in rows:
        while at + 1 < len(starts) and row.position >= starts[at + 1]:
            at += 1
        by_stretch[at].append(row)
    locks = []
    for number, run in enumerate(runs):
        tint = values[codes[run.code]]
        marks = [row for row in by_stretch[number] if row.mark is not None]
        agreeing = [row for row in marks if row.value == tint]
        odd = [row for row in marks if row.value != tint]
        found_too = sum(row.value == tint for row in by_stretch[number]) - len(agreeing)
        locks.append(
            Suggested(
                tint=tint,
                first=order.issues[run.first],
                last=order.issues[run.last],
                from_position=starts[number] if run.first else 0,
                to_position=starts[number + 1] if number + 1 < len(runs) else None,
                agree=len(agreeing),
                pages=len({row.guide for row in agreeing}),
                odd=tuple(
                    Evidence(row.mark or 0, row.guide, order.issues[index[row.position]].number, row.page, row.value)
                    for row in odd
                ),
                firm=run.is_firm and _marks_tell(agreeing, odd),
                unconfirmed=found_too,
            )
        )
    return tuple(locks)


def _marks_tell(agreeing: list[_Row], odd: list[_Row]) -> bool:
    """Whether marks alone outweigh a single slip: what nobody has looked at makes nothing clear."""
    others = Counter(row.value for row in odd)
    return len(agreeing) - max(others.values(), default=0) > 1


def token(settlements: Iterable[Settlement]) -> str:
    """Stands for exactly these suggestions."""
    content = [
        f"{settlement.key}:{_number(lock.tint)}:{lock.from_position}:{lock.to_position}"
        for settlement in settlements
        for lock in settlement.locks
    ]
    return digest(";".join(content))


def accept(*, series: Series, settlements: Iterable[Settlement], by: User, reason: str = REASON) -> int:
    """Lock what was suggested. Returns how many locks; refuses where somebody has locked meanwhile."""
    histories = {
        (settlement.part.pk, settlement.role.key): [
            (lock.from_position, lock.to_position, lock.tint) for lock in settlement.locks
        ]
        for settlement in settlements
    }
    return lock_histories(series=series, histories=histories, by=by, reason=reason) if histories else 0


@transaction.atomic
def accept_unasked(*, series: Series, settlements: Iterable[Settlement], by: User, reason: str = REASON) -> int:
    """``accept`` where nobody looks at the consequences one by one: where no flag opens and no sign-off falls.

    Raises:
        Refused: some would; nothing is locked then.
    """
    settlements = list(settlements)
    hold_series(series.pk)
    impact = rehearse(series, lambda: accept(series=series, settlements=settlements, by=by, reason=reason))
    if impact.opens or impact.reopened:
        reasons = [f"{impact.opens} flag{'' if impact.opens == 1 else 's'} would open"] if impact.opens else []
        if impact.reopened:
            numbers = ", ".join(issue.number for issue in impact.reopened)
            reasons.append(f"the sign-off of issue {numbers} would fall")
        raise Refused(f"left for you to look at, since {' and '.join(reasons)}.")
    return accept(series=series, settlements=settlements, by=by, reason=reason)


def subjects_to_settle(series: Series) -> list[Subject]:
    """Subjects with marks that wait for a lock, by key: a place to go on from is a key."""
    # The difference is taken here: left to PostgreSQL with statistics of another day, as right after many locks
    # were withdrawn, it took 75 s among a million marks.
    locked = Lock.objects.standing().filter(part__costume__subject__series=series).values_list("part_id", "role")
    waiting = _said_of(series).difference(locked)
    parts = Part.objects.filter(pk__in={part for part, _ in waiting})
    return list(series.subjects.filter(Exists(parts.filter(costume__subject=OuterRef("pk")))).order_by("pk"))


def _said_of(series: Series) -> set[tuple[int, str]]:
    """Parts and roles with marks. Parts are few and an index knows whether one has any: the marks are not gone
    through."""
    pairs: set[tuple[int, str]] = set()
    for role in series.roles.keys:
        marks = said(series).filter(part=OuterRef("pk"), role=role)
        parts = Part.objects.of_series(series).filter(Exists(marks))
        pairs |= {(part, role) for part in parts.order_by().values_list("pk", flat=True)}
    return pairs | set(FoundCode.objects.filter(series=series).witnesses().order_by().values_list("part", "role"))


def settle_all(series: Series, subjects: Iterable[Subject]) -> Iterator[tuple[Subject, list[Settlement]]]:
    """The suggestions subject by subject, so that a caller can show progress and stop in between."""
    order = RunningOrder.of(series)
    for subject in subjects:
        yield subject, settle(series, Part.objects.filter(costume__subject=subject), order)
