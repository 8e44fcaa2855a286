"""Random histories of locks in several printings: what a query says an edition needs, and what loops say."""

from __future__ import annotations

import contextlib
import os
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from bible.colour.shifts import Op, Shift, Step
from bible.locks.services import end_lock, lock_rule, lock_tint
from bible.locks.undoing import decision_of, undo_decision, why_not_undone
from bible.models import Edition, Lock, Scene
from bible.models.fields import NoTint
from bible.scenes.services import set_scene
from bible.series.refusals import Refused
from guides.core import continuity
from guides.core.in_editions import held_against, marks_of, open_in, translated, with_needed
from guides.core.scene_areas import apply_scene
from guides.models import Mark
from tests.factories import make_edition, make_guide, make_issues, make_mark, make_member, make_part, make_series

EXAMPLES = int(os.environ.get("MACHINE_EXAMPLES", "15"))
STEPS = 15
CODES = ("Y", "YR2", "R", "B", "YB2")
ISSUES = 5
DARKER = Shift((Step(Op.ADD, "c", 25),))


class PrintingMachine(RuleBasedStateMachine):
    """Two parts marked on every page, two albums, a night on one page; locks made, ended and undone in any of them."""

    def __init__(self) -> None:
        super().__init__()
        self.series = make_series()
        self.lead = make_member(self.series)
        self.issues = make_issues(self.series, ISSUES)
        self.parts = [make_part(self.series) for _ in range(2)]
        self.editions: list[Edition | None] = [
            None,
            make_edition(self.series, self.issues[1:4]),
            make_edition(self.series, self.issues),
        ]
        self.night = set_scene(scene=Scene(series=self.series, name="Night"), rule=DARKER, by=self.lead)
        for number, issue in enumerate(self.issues):
            guide = make_guide(issue, by=self.lead)
            if number == 2:
                apply_scene(guide=guide, scene=self.night, by=self.lead)
            for part in self.parts:
                for role in ("base", "shade"):
                    code = CODES[(number + part.pk) % len(CODES)]
                    make_mark(guide, code, part=part, role=role, by=self.lead)

    @rule(
        part=st.integers(0, 1),
        role=st.sampled_from(["base", "shade"]),
        code=st.sampled_from(CODES),
        start=st.integers(0, ISSUES - 1),
        length=st.none() | st.integers(1, ISSUES),
        edition=st.integers(0, 2),
    )
    def lock(self, part: int, role: str, code: str, start: int, length: int | None, edition: int) -> None:
        self._try(
            lock_tint,
            part=self.parts[part],
            role=role,
            tint=self.series.read(code),
            written=code,
            edition=self.editions[edition],
            **self._stretch(start, length),
        )

    @rule(part=st.integers(0, 1), start=st.integers(0, ISSUES - 1), edition=st.integers(0, 2))
    def follow(self, part: int, start: int, edition: int) -> None:
        self._try(
            lock_rule,
            part=self.parts[part],
            role="shade",
            rule=DARKER,
            edition=self.editions[edition],
            **self._stretch(start, None),
        )

    @rule(number=st.integers(0, 50), at=st.integers(0, ISSUES - 1))
    def end(self, number: int, at: int) -> None:
        standing = list(Lock.every_printing.filter(series=self.series).standing().order_by("pk"))
        if standing:
            lock = standing[number % len(standing)]
            self._try(end_lock, lock=lock, at_position=self.issues[at].position, reason="so")

    @rule(number=st.integers(0, 50))
    def undo(self, number: int) -> None:
        every = list(Lock.every_printing.filter(series=self.series).order_by("pk"))
        if every:
            lock = every[number % len(every)]
            if not why_not_undone(decision_of(lock)):
                self._try(undo_decision, lock=lock)

    def _stretch(self, start: int, length: int | None) -> dict[str, Any]:
        ends = None if length is None or start + length >= ISSUES else self.issues[start + length].position
        return {"from_position": self.issues[start].position if start else 0, "to_position": ends}

    def _try(self, deed: Any, **said: Any) -> None:
        with contextlib.suppress(Refused):
            deed(by=self.lead, **said)

    @invariant()
    def stored_is_the_first_printing(self) -> None:
        assert continuity.discrepancies(self.series) == []

    @invariant()
    def an_edition_needs_what_loops_find(self) -> None:
        locks = list(Lock.every_printing.filter(series=self.series, withdrawn_at=None))
        for edition in self.editions:
            marks = Mark.objects.filter(series=self.series).select_related("scene")
            for mark in with_needed(marks, edition):
                assert mark.needed == self._needed(locks, mark, edition), (mark, edition)  # type: ignore[attr-defined]

    @invariant()
    def what_follows_by_rule_follows_the_base_of_its_printing(self) -> None:
        locks = list(Lock.every_printing.filter(series=self.series, withdrawn_at=None))
        for lock in (lock for lock in locks if lock.rule_data):
            for issue in (issue for issue in self.issues if lock.holds_at(issue.position)):
                base = self._in_force(locks, issue.position, lock.part_id, "base", lock.edition_id)
                assert base is not None
                assert lock.tint == lock.rule.apply(base.tint, self.series.chart)

    def _in_force(
        self, locks: list[Lock], position: int, part: int | None, role: str, edition: int | None
    ) -> Lock | None:
        """The edition's own, else the first printing's."""
        for printing in (edition, None):
            for lock in locks:
                is_its = (lock.edition_id, lock.part_id, lock.role) == (printing, part, role)
                if is_its and lock.holds_at(position):
                    return lock
        return None

    def _needed(self, locks: list[Lock], mark: Mark, edition: Edition | None) -> Any:
        lock = self._in_force(locks, mark.position, mark.part_id, mark.role, edition.pk if edition else None)
        if lock is None:
            return NoTint.NO_LOCK
        return mark.scene.rule.apply(lock.tint, self.series.chart) if mark.scene else lock.tint

    @invariant()
    def flags_and_translations_are_what_follows(self) -> None:
        for edition in self.editions[1:]:
            assert edition is not None
            marks = list(with_needed(marks_of(edition), edition))
            needed = {mark.pk: mark.needed for mark in marks}  # type: ignore[attr-defined]
            flagged = {m.pk for m in marks if m.tint not in (m.expected, needed[m.pk])}
            other = {m.pk for m in marks if m.tint == m.expected != needed[m.pk]}
            assert set(open_in(marks_of(edition), edition).values_list("pk", flat=True)) == flagged
            assert set(translated(marks_of(edition), edition).values_list("pk", flat=True)) == other
            assert set(held_against(marks)) == other


@pytest.mark.django_db
def test_any_history_of_printings_is_what_follows_from_scratch() -> None:
    run_state_machine_as_test(
        PrintingMachine,
        settings=settings(
            max_examples=EXAMPLES,
            stateful_step_count=STEPS,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
