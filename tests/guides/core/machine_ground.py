"""What the random machine stands on: a series with a few of everything, and its rows by number."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from django.contrib.auth.models import User
from django.db import transaction
from hypothesis import strategies as st
from hypothesis.stateful import (
    initialize,
)

from bible.colour.gradients import TintOrGradient
from bible.colour.notation import NotationError
from bible.colour.shifts import Op, Shift, Step
from bible.models import Issue, Lock, Membership, Part
from bible.series.refusals import Refused
from guides.core import impact
from guides.core.once import AtDesk, new_key
from guides.models import Guide, Mark
from tests.factories import make_costume, make_edition, make_issues, make_part, make_series, make_subject, make_user
from tests.guides.core.continuity_truths import Truths

FLAT = ["Y", "YR", "YR3B2", "B", "W", "Y2R2"]
BLACK = ["K", "YRK3"]
"""Codes that can be read while the series codes key, and not before."""
CODES = [*FLAT, *BLACK, "Y to YR", "YR to Y downwards", "B to Y upwards", "YR3B2 to W, to the left"]
"""What is locked: tints and gradients."""
WRITTEN = [*FLAT, *BLACK, "yr4", "scrawl", "r y"]
FADES = ["", "", "Y", "YR", "R4"]
ROLES = ["base", "shade", "line-hold"]
PAGES = ["1", "2"]

places = st.floats(0, 1, allow_nan=False)
shifts = st.sampled_from(
    [
        Shift((Step(Op.ADD, "c", 25),)),
        Shift((Step(Op.AT_LEAST, "c", 25), Step(Op.DOWN, "y", 1))),
        Shift((Step(Op.UP, "m", 1),)),
    ]
)
which = st.integers(0, 10**6)


class Ground(Truths):
    """A series with a few of everything; rules choose among its rows by number."""

    lead: User

    def __init__(self) -> None:
        super().__init__()
        self.example = transaction.atomic()
        self.example.__enter__()
        self.issues_made = 0

    def teardown(self) -> None:
        """Each example begins with an empty database again."""
        transaction.set_rollback(True)
        self.example.__exit__(None, None, None)

    @initialize()
    def begin(self) -> None:
        self.series = make_series()
        self.lead = make_user()
        Membership.objects.create(series=self.series, user=self.lead, role="lead")
        make_issues(self.series, 3)
        subject = make_subject(self.series)
        for _ in range(2):
            costume = make_costume(subject)
            for _ in range(2):
                make_part(costume=costume)
        self.album = make_edition(self.series, self.series.issues.all()[:2])

    def _read(self, code: str) -> TintOrGradient | None:
        """None where the series cannot read it as it is now."""
        try:
            return self.series.read_locked(code)
        except NotationError:
            assert code in BLACK
            return None

    def _one(self, rows: Any, number: int) -> Any:
        found = list(rows.order_by("pk"))
        return found[number % len(found)] if found else None

    def _part(self, number: int) -> Part:
        return self._one(Part.objects.filter(costume__subject__series=self.series), number)

    def _issue(self, number: int) -> Issue:
        return self._one(self.series.issues, number)

    def _mark(self, number: int) -> Mark | None:
        return self._one(Mark.objects.filter(series=self.series), number)

    def _position(self, number: int | None) -> int | None:
        return None if number is None else self._issue(number).position

    def _at(self, guide: Guide) -> AtDesk:
        """What is done at a page's desk can be taken back."""
        return AtDesk(guide, self.lead, new_key())

    def _signed(self) -> set[int]:
        return set(self.series.issues.signed_off().values_list("pk", flat=True))

    def _as_shown(self, deed: Callable[[], object]) -> None:
        """Do what has been rehearsed: flags and sign-offs move as was shown."""
        before, signed = Mark.objects.filter(series=self.series).open().count(), self._signed()
        shown = impact.rehearse(self.series, deed)
        deed()
        after = Mark.objects.filter(series=self.series).open().count()
        assert after - before == shown.opens - shown.closes
        assert {issue.pk for issue in shown.reopened} == signed - self._signed()
        assert {issue.pk for issue in shown.stand_again} == self._signed() - signed

    def _fixed(self, mark: Mark) -> bool:
        """Marks that stay as they are: of an archived issue, or of an older revision."""
        return bool(mark.guide.issue.archived_at) or not mark.guide.is_current

    @contextmanager
    def _refused_exactly_if(self, fixed: object) -> Iterator[None]:
        try:
            yield
        except Refused:
            assert fixed
        else:
            assert not fixed

    def _standing(self) -> set[tuple[Any, ...]]:
        locks = Lock.objects.filter(series=self.series).standing()
        return {(row.part_id, row.role, row.locked, row.from_position, row.to_position) for row in locks}
