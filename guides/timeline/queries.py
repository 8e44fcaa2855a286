"""The timeline of a subject: issues along, what was locked above, what the marks really said below.

Geometry only; the template draws it. A deviation has a shape of its own below the band, so that it does not hang on
telling two colours apart.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Count

from bible.colour.press import PressCondition
from bible.colour.tints import Tint, as_array
from bible.models import Issue, Lock, Part, Series
from bible.models.fields import NoTint
from bible.models.roles import Role
from bible.series.running_order import RunningOrder
from bible.web.names import counted
from guides.models import FlagKind, Mark, kind_of_flag

WIDEST_COLUMN, NARROWEST_COLUMN = 44.0, 4.0
USUAL_WIDTH = 1_080.0
"""Pixels that fit a screen beside the page's margins; longer runs scroll sideways."""
BAND_TOP, BAND_HEIGHT = 2.0, 20.0
MARKS_TOP, MARKS_HEIGHT = 25.0, 14.0
SIGN_TOP = 41.0
LANE_HEIGHT, PLAIN_LANE_HEIGHT = 54.0, 40.0
"""With signs below the marks, and without."""
CODE_WIDTH = 8.0
"""Of one letter of a code, in pixels: a code is written into a band only where it fits."""
NUMBER_ROOM = 34.0
"""Pixels between two issue numbers on the axis, at least."""


@dataclass(frozen=True, slots=True)
class Band:
    """One lock on the picture. ``code`` is empty where the band is too narrow for it."""

    lock: Lock
    x: float
    width: float
    fill: str
    dark: bool
    code: str
    span: str

    @property
    def text_x(self) -> float:
        return self.x + 5

    def holds_at(self, issue: Issue) -> bool:
        return _holds(self.lock, issue)


@dataclass(frozen=True, slots=True)
class Said:
    """Marks of one issue that say the same tint and have the same standing."""

    tint: Tint | NoTint
    expected: Tint | NoTint
    kind: FlagKind | None
    waived: bool
    count: int
    x: float
    y: float
    width: float
    height: float
    fill: str

    @property
    def word(self) -> str:
        if self.kind is None:
            return "agrees"
        return f"{self.kind.label}{', waived' if self.waived else ''}"


@dataclass(frozen=True, slots=True)
class Column:
    """One issue of one lane."""

    issue: Issue
    middle: float
    said: tuple[Said, ...]

    @property
    def sign(self) -> str:
        """Which shape stands below: a filled triangle for open flags, a hollow one where all are waived."""
        flagged = [marks for marks in self.said if marks.kind]
        if not flagged:
            return ""
        return "waived" if all(marks.waived for marks in flagged) else "open"

    @property
    def deviations(self) -> list[Said]:
        return [marks for marks in self.said if marks.kind]


@dataclass(frozen=True, slots=True)
class Lane:
    """A part and role over the whole run."""

    part: Part
    role: Role
    bands: tuple[Band, ...]
    columns: tuple[Column, ...]

    @property
    def mark_count(self) -> int:
        return sum(marks.count for column in self.columns for marks in column.said)

    @property
    def open_count(self) -> int:
        return sum(marks.count for column in self.columns for marks in column.said if marks.kind and not marks.waived)

    @property
    def waived_count(self) -> int:
        return sum(marks.count for column in self.columns for marks in column.said if marks.kind and marks.waived)

    def band_at(self, issue: Issue) -> Band | None:
        """What is locked at an issue; None where nothing is."""
        return next((band for band in self.bands if band.holds_at(issue)), None)

    @property
    def height(self) -> float:
        return LANE_HEIGHT if self.deviating else PLAIN_LANE_HEIGHT

    @property
    def deviating(self) -> list[Column]:
        return [column for column in self.columns if column.sign]

    @property
    def summary(self) -> str:
        """The picture in words."""
        locked = "; ".join(f"{band.span}: {band.lock.written}" for band in self.bands) or "nothing locked"
        return (
            f"{self.part.full_name}, {self.role.name}. Locked: {locked}. {counted(self.mark_count, 'mark')}, "
            f"{counted(self.open_count, 'open flag')}, {self.waived_count} waived."
        )


@dataclass(frozen=True, slots=True)
class Tick:
    x: float
    number: str


@dataclass(frozen=True, slots=True)
class Timeline:
    """Lanes over one axis. All lengths in pixels of the picture."""

    lanes: tuple[Lane, ...]
    ticks: tuple[Tick, ...]
    width: float
    column: float
    band_top: float = BAND_TOP
    band_height: float = BAND_HEIGHT


def column_width(issues: int) -> float:
    """Of one issue among so many, in pixels."""
    return min(max(USUAL_WIDTH / max(issues, 1), NARROWEST_COLUMN), WIDEST_COLUMN)


def ticks_of(order: RunningOrder, column: float) -> tuple[Tick, ...]:
    """Numbers along the axis, as many as there is room for."""
    step = max(1, int(-(-NUMBER_ROOM // column)))
    return tuple(Tick((at + 0.5) * column, order.issues[at].number) for at in range(0, len(order.issues), step))


def timeline(series: Series, parts: Iterable[Part], press: PressCondition) -> Timeline:
    """The timeline of some parts of one series: three queries, however many parts and issues."""
    order = RunningOrder.of(series)
    issues = order.issues
    column = column_width(len(issues))
    by_id = {part.pk: part for part in parts}
    locks: dict[tuple[int, str], list[Lock]] = defaultdict(list)
    for lock in Lock.objects.filter(part__in=by_id).standing().order_by("from_position").with_people():
        locks[lock.part_id, lock.role].append(lock)
    by_lane = _said(by_id)
    place = {issue.position: index for index, issue in enumerate(issues)}
    lanes = []
    lane_order = list(by_id)
    for part_id, role in sorted(
        {*locks, *by_lane}, key=lambda key: (lane_order.index(key[0]), series.roles.rank(key[1]))
    ):
        bands = [_band(lock, order, column, press, series) for lock in locks[part_id, role]]
        columns = [
            _column(issues[place[position]], place[position] * column, column, rows, press)
            for position, rows in sorted(by_lane[part_id, role].items())
            if position in place
        ]
        lanes.append(
            Lane(
                by_id[part_id],
                series.roles.get(role) or Role(role, role),
                tuple(band for band in bands if band is not None),
                tuple(columns),
            )
        )
    return Timeline(tuple(lanes), ticks_of(order, column), max(len(issues) * column, 1.0), column)


_Row = tuple[Tint | NoTint, Tint | NoTint, FlagKind | None, bool, int]


def _said(parts: Iterable[int]) -> dict[tuple[int, str], dict[int, list[_Row]]]:
    """(tint, expected, kind of flag, waived, number) of the live marks, by part and role and position."""
    rows = (
        Mark.objects.live()
        .filter(part__in=list(parts))
        .order_by()
        .values_list("part_id", "role", "position", "tint", "expected", "to_tint", "expected_to", "waived")
        .annotate(n=Count("id"))
    )
    by_lane: dict[tuple[int, str], dict[int, list[_Row]]] = defaultdict(lambda: defaultdict(list))
    for part_id, role, position, tint, expected, *ends, waived, number in rows:
        kind = kind_of_flag(tint, expected, *ends)
        by_lane[part_id, role][position].append((tint, expected, kind, waived, number))
    return by_lane


def _band(lock: Lock, order: RunningOrder, column: float, press: PressCondition, series: Series) -> Band | None:
    """A lock's band; None where its time holds no issue."""
    covered = [index for index, issue in enumerate(order.issues) if _holds(lock, issue)]
    if not covered:
        return None
    width = len(covered) * column
    code = series.write(lock.locked)
    return Band(
        lock=lock,
        x=covered[0] * column,
        width=width,
        fill=press.hex(lock.tint),
        dark=is_dark(press, lock.tint),
        code=code if len(code) * CODE_WIDTH + 6 < width else "",
        span=order.span(lock),
    )


def _holds(lock: Lock, issue: Issue) -> bool:
    return lock.from_position <= issue.position and (lock.to_position is None or issue.position < lock.to_position)


def is_dark(press: PressCondition, tint: Tint) -> bool:
    """Whether white letters read better: WCAG 2.2 gives black and white equal contrast near L* 50."""
    return bool(press.lab(as_array([tint]))[0, 0] < 50)


def _column(issue: Issue, x: float, column: float, rows: list[_Row], press: PressCondition) -> Column:
    """An issue's marks, the commonest on top, each as tall as its share."""
    total = sum(row[-1] for row in rows)
    y, shares = MARKS_TOP, []
    gap = 1.0 if column > 6 else 0.0
    for tint, expected, kind, waived, number in sorted(rows, key=_standing):
        height = MARKS_HEIGHT * number / total
        fill = press.hex(tint) if isinstance(tint, Tint) else "none"
        shares.append(Said(tint, expected, kind, waived, number, x, y, column - gap, height, fill))
        y += height
    return Column(issue, x + column / 2, tuple(shares))


def _standing(row: _Row) -> tuple[bool, int, str, str, bool]:
    """The agreeing on top, then the commonest; what is equally common stands the same way every time."""
    tint, expected, kind, waived, number = row
    return (kind is not None, -number, str(tint), str(expected), waived)
