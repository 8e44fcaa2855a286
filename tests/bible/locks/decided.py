"""A part whose decisions are counted, with its rows as they stand."""

from __future__ import annotations

from typing import Any

from bible import signals
from bible.colour.shifts import Op, Shift, Step
from bible.colour.tints import Tint
from bible.locks.services import (
    lock_rule,
)
from bible.models import Activity, Lock, Series
from tests.factories import make_issues, make_lock, make_part

Y, R, B, YR = Tint(y=100), Tint(m=100), Tint(c=100), Tint(m=100, y=100)
SHADE = Shift((Step(Op.ADD, "c", 25),))
Row = tuple[str, int, int | None]


class Bench:
    """Five issues at 10, 20 … 50 and a part of which nothing is locked; ``told`` is what listeners hear."""

    def __init__(self, series: Series, lead: Any) -> None:
        self.series, self.lead = series, lead
        self.issues = make_issues(series, 5)
        for n, issue in enumerate(self.issues, 1):
            type(issue).objects.filter(pk=issue.pk).update(position=n * 10)
        self.part = make_part(series, name="coat")
        self.told: list[dict[str, Any]] = []
        signals.expectation_changed.connect(self._hear)

    def _hear(self, **said: Any) -> None:
        self.told.append({name: said.get(name) for name in ("part_ids", "by", "why", "at", "undone")})

    def lock(self, code: str, start: int = 0, end: int | None = None, **more: Any) -> Lock:
        return make_lock(self.part, code, by=self.lead, from_position=start, to_position=end, **more)

    def by_rule(self, start: int = 0, end: int | None = None, **more: Any) -> list[Lock]:
        said: dict[str, Any] = {"role": "shade", "rule": SHADE, "by": self.lead} | more
        return lock_rule(part=self.part, from_position=start, to_position=end, **said)

    def rows(self, role: str = "base", edition: Any = None) -> list[Row]:
        """What stands, as the code of its tint."""
        found = Lock.every_printing.of_edition(edition).of(self.part.pk, role).standing().order_by("from_position")
        return [(self.series.write(one.locked), one.from_position, one.to_position) for one in found]

    def newest(self) -> Lock:
        return Lock.every_printing.order_by("-pk")[0]

    def deed(self) -> tuple[Any, ...]:
        row = Activity.objects.order_by("-pk")[0]
        return row.kind, row.by, row.subject_id, row.count, row.words
