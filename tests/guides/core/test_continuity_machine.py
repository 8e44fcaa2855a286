"""Random sequences of edits, after each of which what is stored must be what follows from scratch.

The machine makes every kind of write the application knows, in any order hypothesis thinks of, and asks after
every step: do the resolved expectations equal the plain derivation, and is the flag query what the rules say?
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from functools import partial
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    initialize,
    precondition,
    rule,
    run_state_machine_as_test,
)

from bible.chart.services import change_reading
from bible.colour.notation import LETTERS_64, Notation
from bible.colour.shifts import Op, Shift, Step
from bible.locks.services import correct_lock, end_lock, lock_rule, lock_tint
from bible.locks.undoing import decision_of, undo_decision, why_not_undone
from bible.models import Costume, Issue, Lock, Membership, Part, Scene
from bible.models.stretches import Stretch
from bible.scenes.services import set_scene
from bible.series.refusals import Refused
from bible.series.services import add_issue, move_issue
from bible.subjects.services import archive, delete_unused
from bible.subjects.wearing import set_worn, worn_before
from guides.core import impact
from guides.core.once import AtDesk, new_key
from guides.core.reopening import reopen
from guides.core.scene_areas import WHOLE_PAGE, Region, apply_scene, remove_scene
from guides.core.services import delete_mark, move_mark, place_mark, restore_mark, rewrite_mark, stand_down
from guides.core.waivers import take_waiver_back, waive
from guides.desk.services import redo, undo
from guides.models import Carry, Guide, Mark, Regrouping, SceneArea, Waiver
from guides.regrouping.forms import afresh
from guides.regrouping.services import merge_parts, merge_subjects, move_costume, move_part, reassign_marks
from guides.regrouping.undoing import undo_regrouping
from guides.signoff.services import put_in_check, sign_off
from guides.uploads.carrying import carry_marks, foresee, source_of, take_carry_back
from tests.factories import make_costume, make_guide, make_issues, make_part, make_series, make_subject, make_user
from tests.guides.core.continuity_truths import Truths

CODES = ["Y", "YR", "YR3B2", "B", "W", "Y2R2"]
WRITTEN = [*CODES, "yr4", "scrawl", "r y"]
FADES = ["", "", "Y", "R4"]
ROLES = ["base", "shade", "line-hold"]
PAGES = ["1", "2"]

EXAMPLES = int(os.environ.get("MACHINE_EXAMPLES", "15"))
STEPS = 30
"""Enough to find a missing re-resolve within seconds; MACHINE_EXAMPLES asks for a longer hunt."""

places = st.floats(0, 1, allow_nan=False)
shifts = st.sampled_from(
    [
        Shift((Step(Op.ADD, "c", 25),)),
        Shift((Step(Op.AT_LEAST, "c", 25), Step(Op.DOWN, "y", 1))),
        Shift((Step(Op.UP, "m", 1),)),
    ]
)
which = st.integers(0, 10**6)


class Machine(Truths):
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

    def _one(self, rows: Any, number: int) -> Any:
        found = list(rows.order_by("pk"))
        return found[number % len(found)] if found else None

    def _part(self, number: int) -> Part:
        return self._one(Part.objects.filter(costume__subject__series=self.series), number)

    def _issue(self, number: int) -> Issue:
        return self._one(self.series.issues, number)

    def _mark(self, number: int) -> Mark | None:
        return self._one(Mark.objects.filter(series=self.series), number)

    def _fixed(self, mark: Mark) -> bool:
        """Marks that stay as they are: of an archived issue, or of an older revision."""
        return bool(mark.guide.issue.archived_at) or not mark.guide.is_current

    def _position(self, number: int | None) -> int | None:
        return None if number is None else self._issue(number).position

    @rule(number=which)
    def new_issue(self, number: int) -> None:
        after = self._issue(number) if number % 2 else None
        self.issues_made += 1
        add_issue(series=self.series, number=f"n{self.issues_made}", after=after)

    def _at(self, guide: Guide) -> AtDesk:
        """What is done at a page's desk can be taken back."""
        return AtDesk(guide, self.lead, new_key())

    @contextmanager
    def _refused_exactly_if(self, fixed: object) -> Iterator[None]:
        try:
            yield
        except Refused:
            assert fixed
        else:
            assert not fixed

    @rule(number=which, behind=st.none() | which)
    def move_an_issue(self, number: int, behind: int | None) -> None:
        issue = self._issue(number)
        after = None if behind is None else self._issue(behind)
        if after != issue:
            move_issue(issue=issue, after=after)

    @rule(
        number=which,
        role=st.sampled_from(ROLES),
        code=st.sampled_from(CODES),
        first=st.none() | which,
        last=st.none() | which,
    )
    def lock(self, number: int, role: str, code: str, first: int | None, last: int | None) -> None:
        part, tint = self._part(number), self.series.read(code)
        start, end = self._position(first) or 0, self._position(last)
        before = Mark.objects.filter(series=self.series).open().count()
        signed = self._signed()
        try:
            shown = impact.of_lock(part, role, tint, start, end)
        except Refused:
            assert last is not None
            return
        lock_tint(part=part, role=role, tint=tint, written=code, from_position=start, to_position=end, by=self.lead)
        after = Mark.objects.filter(series=self.series).open().count()
        assert after - before == shown.opens - shown.closes, "the impact shown was not what happened"
        assert {issue.pk for issue in shown.reopened} == signed - self._signed(), "not the sign-offs shown fell"

    def _signed(self) -> set[int]:
        return set(self.series.issues.signed_off().values_list("pk", flat=True))

    @rule(number=which)
    def sign(self, number: int) -> None:
        issue = self._issue(number)
        if not issue.signed_off_at:
            if not issue.in_check_at:
                put_in_check(issue=issue, by=self.lead)
            sign_off(issue=issue, by=self.lead, words="as it is")

    @rule(number=which, at=which)
    def end_a_lock(self, number: int, at: int) -> None:
        lock = self._one(Lock.objects.filter(series=self.series).standing(), number)
        if lock:
            try:
                end_lock(lock=lock, at_position=self._issue(at).position, by=self.lead, reason="over")
            except Refused:
                assert lock.to_position is not None

    @rule(number=which, code=st.sampled_from(CODES))
    def correct_a_lock(self, number: int, code: str) -> None:
        lock = self._one(Lock.objects.filter(series=self.series).standing(), number)
        if lock:
            correct_lock(lock=lock, tint=self.series.read(code), written=code, by=self.lead, reason="mistaken")

    @rule(number=which)
    def undo_a_decision(self, number: int) -> None:
        """What it withdrew stands again, sign-offs fall or stand again as shown, or it is refused and nothing moves."""
        lock = self._one(Lock.objects.filter(series=self.series), number)
        if lock is None:
            return
        before, signed = self._standing(), self._signed()
        decided = decision_of(lock)
        undoing = partial(undo_decision, lock=lock, by=self.lead, reason="by mistake")
        try:
            shown = impact.rehearse(self.series, undoing)
        except Refused:
            assert why_not_undone(decided)
            assert self._standing() == before
            return
        assert not why_not_undone(decided)
        undoing()
        told = {(row.part_id, row.role, row.tint, row.from_position, row.to_position) for row in decided.withdrawn}
        by_hand = {row for row in told if row[1] == "base"}  # rules follow the base that there is now
        assert by_hand <= self._standing(), "what was withdrawn does not stand again"
        for waiver in Waiver.objects.filter(series=self.series, died_at=decided.at, died_by=None):
            mark = Mark.objects.get(pk=waiver.mark_id)
            given_for = (waiver.part_id, waiver.role, waiver.tint, waiver.expected)
            assert mark.waived or (mark.part_id, mark.role, mark.tint, mark.expected) != given_for
        assert {issue.pk for issue in shown.reopened} == signed - self._signed()
        assert {issue.pk for issue in shown.stand_again} == self._signed() - signed

    def _standing(self) -> set[tuple[Any, ...]]:
        fields = ("part_id", "role", "tint", "from_position", "to_position")
        return set(Lock.objects.filter(series=self.series).standing().values_list(*fields))

    @rule(
        number=which,
        role=st.sampled_from(ROLES[1:]),
        shift=shifts,
        first=st.none() | which,
        last=st.none() | which,
    )
    def lock_by_rule(self, number: int, role: str, shift: Shift, first: int | None, last: int | None) -> None:
        try:
            lock_rule(
                part=self._part(number),
                role=role,
                rule=shift,
                from_position=self._position(first) or 0,
                to_position=self._position(last),
                by=self.lead,
            )
        except Refused:
            return

    @rule(name=st.sampled_from(["night", "lamplight"]), shift=shifts)
    def set_a_scene(self, name: str, shift: Shift) -> None:
        scene = self.series.scenes.filter(name=name).first() or Scene(series=self.series, name=name)
        set_scene(scene=scene, rule=shift, by=self.lead)

    @rule(number=which, at=which, half=st.sampled_from([WHOLE_PAGE, Region(right=0.5), Region(top=0.5)]))
    def apply_a_scene(self, number: int, at: int, half: Region) -> None:
        scene = self._one(self.series.scenes, number)
        guide = self._one(Guide.objects.filter(series=self.series), at)
        if not scene or not guide:
            return
        edges = {"left": half.left, "top": half.top, "right": half.right, "bottom": half.bottom}
        if SceneArea.objects.filter(guide=guide, scene=scene, **edges).standing().exists():
            with pytest.raises(Refused, match="holds there already"):
                apply_scene(guide=guide, scene=scene, region=half, by=self.lead)
        else:
            apply_scene(guide=guide, scene=scene, region=half, by=self.lead)

    @rule(number=which)
    def remove_a_scene(self, number: int) -> None:
        area = self._one(SceneArea.objects.filter(series=self.series).standing(), number)
        if area:
            remove_scene(area=area, by=self.lead)

    @rule(number=which)
    def waive_a_flag(self, number: int) -> None:
        mark = self._one(Mark.objects.filter(series=self.series).open(), number)
        if mark:
            waive(marks=[mark], reason="in disguise", by=self.lead)

    @rule(number=which)
    def take_a_waiver_back(self, number: int) -> None:
        waiver = self._one(Waiver.objects.filter(series=self.series).alive(), number)
        if waiver:
            take_waiver_back(waiver=waiver, by=self.lead)

    @rule(kind=st.sampled_from(["64", "125-70", "125-75"]))
    def change_the_chart(self, kind: str) -> None:
        change_reading(series=self.series, notation=self.series.notation, chart_kind=kind, by=self.lead)
        self.series.refresh_from_db()

    @rule(number=which, ends=st.lists(which, max_size=5))
    def time_a_costume(self, number: int, ends: list[int]) -> None:
        """Worn between the first two places, again between the next two, and so on; the last may stay open."""
        costume = self._one(Costume.objects.filter(subject__series=self.series), number)
        places = sorted({self._issue(end).position for end in ends})
        worn = [Stretch(*places[at : at + 2]) for at in range(0, len(places), 2)]
        self._as_shown(partial(set_worn, costume=costume, worn=worn, by=self.lead))

    @rule(number=which)
    def say_again_when_it_was_worn(self, number: int) -> None:
        costume = self._one(Costume.objects.filter(subject__series=self.series), number)
        before = worn_before(costume)
        if before is not None:
            self._as_shown(partial(set_worn, costume=costume, worn=before, by=self.lead))
            costume = Costume.objects.get(pk=costume.pk)
            assert costume.worn == before

    @rule(one=which, other=which, what=st.sampled_from(["merge", "marks", "part", "costume", "subjects"]))
    def regroup(self, one: int, other: int, what: str) -> None:
        """Merged, moved or re-assigned as shown, or refused and nothing moves."""
        source, target = self._part(one), self._part(other)
        deeds: dict[str, partial[Any]] = {
            "merge": partial(merge_parts, source=source, target=target, by=self.lead),
            "marks": partial(
                reassign_marks, source=source, target=target, among=Mark.objects.filter(number=1), by=self.lead
            ),
            "part": partial(move_part, part=source, costume=target.costume, by=self.lead),
            "costume": partial(move_costume, costume=source.costume, new_name=f"split {one}", by=self.lead),
            "subjects": partial(
                merge_subjects, source=source.costume.subject, target=target.costume.subject, by=self.lead
            ),
        }
        before = self._belongings()
        try:
            with transaction.atomic():
                self._as_shown(partial(afresh, deeds[what]))
        except Refused:
            assert self._belongings() == before

    @rule(number=which)
    def undo_a_regrouping(self, number: int) -> None:
        done = self._one(Regrouping.objects.filter(series=self.series).standing(), number)
        if done:
            with suppress(Refused), transaction.atomic():
                self._as_shown(partial(undo_regrouping, regrouping=done, by=self.lead))

    def _belongings(self) -> list[Any]:
        parts = Part.objects.filter(costume__subject__series=self.series).order_by("pk")
        marks = Mark.objects.filter(series=self.series).order_by("pk")
        rows = parts.values_list("pk", "costume", "costume__subject", "archived_at")
        return [*rows, *marks.values_list("pk", "part")]

    def _as_shown(self, deed: Callable[[], object]) -> None:
        """Do what has been rehearsed: flags and sign-offs move as was shown."""
        before, signed = Mark.objects.filter(series=self.series).open().count(), self._signed()
        shown = impact.rehearse(self.series, deed)
        deed()
        after = Mark.objects.filter(series=self.series).open().count()
        assert after - before == shown.opens - shown.closes
        assert {issue.pk for issue in shown.reopened} == signed - self._signed()
        assert {issue.pk for issue in shown.stand_again} == self._signed() - signed

    @rule(meaning=st.sampled_from([None, 50, 100]))
    def change_an_alias(self, meaning: int | None) -> None:
        aliases = {} if meaning is None else {"R4": meaning}
        notation = Notation.from_dict(LETTERS_64.to_dict() | {"aliases": aliases})
        change_reading(series=self.series, notation=notation, chart_kind=self.series.chart_kind)
        self.series.refresh_from_db()

    @rule(number=which, page=st.sampled_from(PAGES))
    def a_new_revision(self, number: int, page: str) -> None:
        """As ``add_guide`` stores it, without drawing a picture each time."""
        issue = self._issue(number)
        with transaction.atomic():
            earlier = Guide.objects.filter(issue=issue, page=page)
            revision = earlier.count() + 1
            reopen(series_id=self.series.pk, issues=[issue.pk], by=self.lead, why="a new revision")
            stand_down(earlier)
            make_guide(issue, page=page, revision=revision, by=self.lead, colourist=self.lead if number % 2 else None)

    @rule(number=which, edge=st.booleans(), x=places)
    def carry_marks_over(self, number: int, edge: bool, x: float) -> None:
        """At the same part of the page, the first mark anywhere, on its edge or outside it."""
        later = Guide.objects.filter(series=self.series, is_current=True, revision__gt=1)
        guide = self._one(later, number)
        source = source_of(guide) if guide else None
        if guide and source:
            plan = foresee(guide, source, Carry.Way.FRACTIONS)
            first = replace(plan.moved[0], x=x, inside=number % 3 > 0)
            plan = replace(plan, moved=(first, *plan.moved[1:]))
            with suppress(Refused):
                carry_marks(guide=guide, plan=plan, by=self.lead, edge=edge)

    @rule(number=which)
    def take_a_carry_back(self, number: int) -> None:
        carry = self._one(Carry.objects.filter(series=self.series), number)
        if carry:
            with suppress(Refused):
                take_carry_back(carry=carry, by=self.lead)

    @precondition(lambda self: Guide.objects.filter(series=self.series, is_current=True).exists())
    @rule(
        number=which,
        part=st.none() | which,
        role=st.sampled_from(ROLES),
        written=st.sampled_from(WRITTEN),
        to_written=st.sampled_from(FADES),
        x=places,
        y=places,
    )
    def place(
        self, number: int, part: int | None, role: str, written: str, to_written: str, x: float, y: float
    ) -> None:
        guide = self._one(Guide.objects.filter(series=self.series, is_current=True), number)
        chosen = None if part is None else self._part(part)
        new: dict[str, Any] = {
            "x": x,
            "y": y,
            "written": written,
            "part": chosen,
            "role": role,
            "to_written": to_written,
        }
        with self._refused_exactly_if(guide.issue.archived_at):
            place_mark.once(self._at(guide), guide=guide, by=self.lead, **new)

    @rule(number=which, back=st.booleans())
    def take_a_step_back_or_again(self, number: int, back: bool) -> None:
        guide = self._one(Guide.objects.filter(series=self.series), number)
        if guide:
            with suppress(Refused):
                (undo if back else redo)(guide=guide, by=self.lead, key=new_key())

    @rule(number=which)
    def archive_an_issue_or_bring_it_back(self, number: int) -> None:
        issue = self._issue(number)
        archive(thing=issue, archived=issue.archived_at is None, by=self.lead)

    @rule(number=which)
    def delete_an_issue(self, number: int) -> None:
        if self.series.issues.count() < 3:
            return
        with suppress(Refused):
            delete_unused(thing=self._issue(number), by=self.lead)

    @rule(
        number=which,
        part=st.none() | which,
        role=st.sampled_from(ROLES),
        written=st.sampled_from(WRITTEN),
        to_written=st.sampled_from(FADES),
    )
    def rewrite(self, number: int, part: int | None, role: str, written: str, to_written: str) -> None:
        if mark := self._mark(number):
            chosen = None if part is None else self._part(part)
            new: dict[str, Any] = {"written": written, "part": chosen, "role": role, "to_written": to_written}
            with self._refused_exactly_if(self._fixed(mark) or mark.deleted_at):
                rewrite_mark.once(self._at(mark.guide), mark=mark, by=self.lead, **new)

    @rule(number=which, x=places, y=places)
    def move(self, number: int, x: float, y: float) -> None:
        if mark := self._mark(number):
            with self._refused_exactly_if(self._fixed(mark) or mark.deleted_at):
                move_mark(mark=mark, x=x, y=y, by=self.lead)

    @rule(number=which)
    def delete_or_restore(self, number: int) -> None:
        if mark := self._mark(number):
            if mark.deleted_at:
                with self._refused_exactly_if(mark.guide.issue.archived_at):
                    restore_mark(mark=mark, by=self.lead)
            else:
                with self._refused_exactly_if(self._fixed(mark)):
                    delete_mark.once(self._at(mark.guide), mark=mark, by=self.lead)


@pytest.mark.django_db
def test_any_sequence_of_edits_leaves_the_resolved_equal_to_the_derived() -> None:
    run_state_machine_as_test(
        Machine,
        settings=settings(
            max_examples=EXAMPLES,
            stateful_step_count=STEPS,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
