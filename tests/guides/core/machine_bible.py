"""What the random machine does to the bible: locks, rules, scenes, costumes, roles of parts, how codes read."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from functools import partial
from typing import Any

from django.db import transaction
from hypothesis import strategies as st
from hypothesis.stateful import (
    rule,
)

from bible.chart.services import change_reading
from bible.colour.notation import Notation
from bible.colour.shifts import Shift
from bible.locks.services import correct_lock, end_lock, lock_rule, lock_tint
from bible.locks.undoing import decision_of, undo_decision, why_not_undone
from bible.models import Costume, Lock, Part, Scene
from bible.models.fields import NoTint
from bible.models.stretches import Stretch
from bible.scenes.services import set_scene
from bible.series.refusals import Refused
from bible.subjects.wearing import set_worn, worn_before
from guides.core import impact
from guides.models import Mark, Regrouping, Waiver
from guides.regrouping.forms import afresh
from guides.regrouping.services import merge_parts, merge_subjects, move_costume, move_part, reassign_marks
from guides.regrouping.undoing import undo_regrouping
from tests.guides.core.machine_ground import CODES, ROLES, Ground, shifts, which


class BibleDeeds(Ground):
    """Everything that moves what marks owe."""

    @rule(
        number=which,
        role=st.sampled_from(ROLES),
        code=st.sampled_from(CODES),
        first=st.none() | which,
        last=st.none() | which,
    )
    def lock(self, number: int, role: str, code: str, first: int | None, last: int | None) -> None:
        part, tint = self._part(number), self._read(code)
        if tint is None:
            return
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

    @rule(number=which, role=st.sampled_from(ROLES), code=st.sampled_from(CODES), first=st.none() | which)
    def lock_for_an_edition(self, number: int, role: str, code: str, first: int | None) -> None:
        """It moves nothing of the first printing, be it merged, moved and undone with the part later."""
        tint, before = self._read(code), self._expectations()
        if tint is None:
            return
        start = self._position(first) or 0
        lock_tint(
            part=self._part(number), role=role, tint=tint, written=code, from_position=start, by=self.lead,
            edition=self.album,
        )  # fmt: skip
        assert self._expectations() == before

    def _expectations(self) -> list[Any]:
        marks = Mark.objects.filter(series=self.series).order_by("pk")
        return list(marks.values_list("pk", "lock", "expected", "expected_to"))

    @rule(codes_key=st.booleans())
    def let_black_have_codes(self, codes_key: bool) -> None:
        """Or take them from it again: what is locked in black stays so, and its marks cannot be read."""
        steps = (("", 100), ("3", 50)) if codes_key else ()
        notation = replace(self.series.notation, key_steps=steps)
        change_reading(series=self.series, notation=notation, chart_kind=self.series.chart_kind, by=self.lead)
        self.series.refresh_from_db()

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
        lock, tint = self._one(Lock.objects.filter(series=self.series).standing(), number), self._read(code)
        if lock and tint is not None:
            correct_lock(lock=lock, tint=tint, written=code, by=self.lead, reason="mistaken")

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
        told = {(row.part_id, row.role, row.locked, row.from_position, row.to_position) for row in decided.withdrawn}
        by_hand = {row for row in told if row[1] == "base"}  # rules follow the base that there is now
        assert by_hand <= self._standing(), "what was withdrawn does not stand again"
        for waiver in Waiver.objects.filter(series=self.series, died_at=decided.at, died_by=None):
            mark = Mark.objects.get(pk=waiver.mark_id)
            given_for = (
                waiver.part_id,
                waiver.role,
                waiver.tint,
                waiver.fades_to,
                waiver.expected,
                waiver.expected_to,
            )
            end = NoTint.FLAT if mark.to_tint is None else mark.to_tint
            says = (mark.part_id, mark.role, mark.tint, end, mark.expected, mark.expected_to)
            assert mark.waived or says != given_for
        assert {issue.pk for issue in shown.reopened} == signed - self._signed()
        assert {issue.pk for issue in shown.stand_again} == self._signed() - signed

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

    @rule(meaning=st.sampled_from([None, 50, 100]))
    def change_an_alias(self, meaning: int | None) -> None:
        aliases = {} if meaning is None else {"R4": meaning}
        notation = Notation.from_dict(self.series.notation.to_dict() | {"aliases": aliases})
        change_reading(series=self.series, notation=notation, chart_kind=self.series.chart_kind)
        self.series.refresh_from_db()
