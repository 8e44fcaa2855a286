"""Random edits of scenes that fall on some things, within outlines, and of backgrounds held together: after each of
them what is stored is what follows from scratch, and what was shown is what happened."""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import initialize, rule, run_state_machine_as_test

from bible.chart.services import change_reading
from bible.colour.notation import LETTERS_64, Notation
from bible.colour.shifts import Op, Shift, Step
from bible.locks.services import end_lock, lock_tint
from bible.locks.undoing import undo_decision
from bible.models import Lock, Membership, Part, Scene, Within
from bible.scenes.services import HeldTo, set_scene
from bible.series.refusals import Refused
from bible.series.services import move_issue
from bible.subjects.backgrounds import hold_within
from bible.subjects.services import archive
from guides.core import impact
from guides.core.once import AtDesk, new_key
from guides.core.reopening import reopen
from guides.core.scene_areas import WHOLE_PAGE, Region, apply_scene, outlined, remove_scene
from guides.core.services import delete_mark, move_mark, place_marks, restore_mark, rewrite_mark, stand_down
from guides.core.waivers import waive
from guides.desk.services import redo, undo
from guides.models import Carry, Guide, Mark, Regrouping, SceneArea
from guides.regrouping.forms import afresh
from guides.regrouping.services import merge_parts, merge_subjects, move_part, reassign_marks
from guides.regrouping.undoing import undo_regrouping
from guides.signoff.services import put_in_check, sign_off
from guides.uploads.carrying import carry_marks, foresee, source_of, undo_carry
from tests.factories import make_costume, make_guide, make_issues, make_part, make_series, make_subject, make_user
from tests.guides.core.continuity_truths import Truths

EXAMPLES = int(os.environ.get("MACHINE_EXAMPLES", "15"))
STEPS = 25
ROLES = ["base", "shade"]
CODES = ["B", "B", "B2", "Y", "scrawl", "R4"]
FADES = ["", "", "", "W"]
REGIONS = [
    WHOLE_PAGE,
    Region(right=0.6),
    outlined([[(0.1, 0.1), (0.9, 0.1), (0.9, 0.4), (0.4, 0.4), (0.4, 0.9), (0.1, 0.9)]]),
    outlined([[(0.0, 0.0), (1.0, 0.5), (0.0, 1.0)]]),
    outlined([[(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)], [(0.3, 0.3), (0.7, 0.3), (0.7, 0.7), (0.3, 0.7)]]),
]
SHIFTS = [Shift(), Shift((Step(Op.ADD, "c", 25),)), Shift((Step(Op.UP, "m", 1),))]
which = st.integers(0, 10**6)
places = st.sampled_from([0.0, 0.2, 0.5, 0.8, 1.0])


class Lights(Truths):
    """A series with two subjects, three of whose four parts are held together, and pages to mark."""

    lead: User

    def __init__(self) -> None:
        super().__init__()
        self.example = transaction.atomic()
        self.example.__enter__()

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.example.__exit__(None, None, None)

    @initialize()
    def begin(self) -> None:
        self.series, self.lead = make_series(), make_user()
        Membership.objects.create(series=self.series, user=self.lead, role="lead")
        issues = make_issues(self.series, 2)
        for name in ("harbour", "Maren"):
            costume = make_costume(make_subject(self.series, name=name))
            for within in (Within.SCENE, Within.ISSUE if name == "harbour" else Within.SERIES):
                make_part(costume=costume, held_within=within)
        for issue in issues:
            for page in ("1", "2"):
                make_guide(issue, page=page, by=self.lead)
        for name, moves in (("night", SHIFTS[1]), ("morning", SHIFTS[0])):
            set_scene(scene=Scene(series=self.series, name=name), rule=moves, by=self.lead)

    def _one(self, rows: Any, number: int) -> Any:
        found = list(rows.order_by("pk"))
        return found[number % len(found)] if found else None

    def _part(self, number: int) -> Part:
        return self._one(Part.objects.filter(costume__subject__series=self.series), number)

    def _guide(self, number: int) -> Guide:
        return self._one(Guide.objects.filter(series=self.series, is_current=True), number)

    def _mark(self, number: int) -> Mark | None:
        return self._one(Mark.objects.filter(series=self.series), number)

    def _as_shown(self, deed: Callable[[], object]) -> None:
        """Do what has been rehearsed, or find it refused: flags and sign-offs move as was shown."""
        open_flags = Mark.objects.filter(series=self.series).open()
        before, signed = open_flags.count(), self._signed()
        with suppress(Refused):
            shown = impact.rehearse(self.series, deed)
            deed()
            assert open_flags.count() - before == shown.opens - shown.closes
            assert {issue.pk for issue in shown.reopened} == signed - self._signed()

    def _signed(self) -> set[int]:
        return set(self.series.issues.signed_off().values_list("pk", flat=True))

    @rule(
        number=which,
        news=st.lists(
            st.tuples(places, places, st.sampled_from(CODES), which, st.sampled_from(ROLES), st.sampled_from(FADES)),
            min_size=1,
            max_size=4,
        ),
    )
    def place(self, number: int, news: list[Any]) -> None:
        rows = [(x, y, code, self._part(part), role, None, fade) for x, y, code, part, role, fade in news]
        with suppress(Refused):
            place_marks(guide=self._guide(number), by=self.lead, rows=rows)

    @rule(number=which, part=st.none() | which, code=st.sampled_from(CODES), fade=st.sampled_from(FADES))
    def rewrite(self, number: int, part: int | None, code: str, fade: str) -> None:
        if mark := self._mark(number):
            said: dict[str, Any] = {"written": code, "to_written": fade, "role": mark.role}
            said["part"] = None if part is None else self._part(part)
            with suppress(Refused):
                rewrite_mark.once(AtDesk(mark.guide, self.lead, new_key()), mark=mark, by=self.lead, **said)

    @rule(number=which, x=places, y=places)
    def move(self, number: int, x: float, y: float) -> None:
        if mark := self._mark(number):
            with suppress(Refused):
                move_mark(mark=mark, x=x, y=y, by=self.lead)

    @rule(number=which)
    def delete_or_restore(self, number: int) -> None:
        if mark := self._mark(number):
            with suppress(Refused):
                (restore_mark if mark.deleted_at else delete_mark)(mark=mark, by=self.lead)

    @rule(number=which, at=which, region=st.sampled_from(REGIONS))
    def apply_a_scene(self, number: int, at: int, region: Region) -> None:
        scene, guide = self._one(self.series.scenes, number), self._guide(at)
        desk = AtDesk(guide, self.lead, new_key())
        with suppress(Refused):
            apply_scene.once(desk, guide=guide, scene=scene, region=region, by=self.lead)

    @rule(number=which)
    def remove_a_scene(self, number: int) -> None:
        if area := self._one(SceneArea.objects.filter(series=self.series).standing(), number):
            remove_scene(area=area, by=self.lead)

    @rule(number=which, back=st.booleans())
    def take_a_step_back_or_again(self, number: int, back: bool) -> None:
        with suppress(Refused):
            (undo if back else redo)(guide=self._guide(number), by=self.lead, key=new_key())

    @rule(
        number=which,
        shift=st.sampled_from(SHIFTS),
        things=st.lists(st.tuples(st.sampled_from(["part", "subject", ""]), which, st.sampled_from(["", *ROLES]))),
    )
    def hold_a_scene_to(self, number: int, shift: Shift, things: list[tuple[str, int, str]]) -> None:
        """What it falls on is said anew; a thing that is nothing is every one in a role."""
        scene = self._one(self.series.scenes, number)
        targets = []
        for kind, key, role in things[:3]:
            part = self._part(key)
            of = {"part": part.pk, "subject": part.costume.subject_id, "": None}[kind]
            if kind or role:
                targets.append(HeldTo(role=role, **({kind: of} if kind else {})))
        self._as_shown(
            lambda: set_scene(scene=Scene.objects.get(pk=scene.pk), rule=shift, by=self.lead, targets=targets)
        )

    @rule(number=which, within=st.sampled_from(list(Within)))
    def hold_a_part_within(self, number: int, within: Within) -> None:
        key = self._part(number).pk
        self._as_shown(lambda: hold_within(part=Part.objects.get(pk=key), within=within, by=self.lead))

    @rule(
        number=which, role=st.sampled_from(ROLES), code=st.sampled_from(["B", "B2"]), first=which, last=st.booleans()
    )
    def lock(self, number: int, role: str, code: str, first: int, last: bool) -> None:
        part, start = self._part(number), self._one(self.series.issues, first).position
        tint, end = self.series.read(code), start + 1 if last else None
        before = Mark.objects.filter(series=self.series).open().count()
        with suppress(Refused):
            shown = impact.of_lock(part, role, tint, start, end)
            said = {"from_position": start, "to_position": end}
            lock_tint(part=part, role=role, tint=tint, written=code, by=self.lead, **said)
            assert Mark.objects.filter(series=self.series).open().count() - before == shown.opens - shown.closes

    @rule(number=which, at=which)
    def end_a_lock(self, number: int, at: int) -> None:
        lock = self._one(Lock.objects.filter(series=self.series).standing(), number)
        if lock:
            position = self._one(self.series.issues, at).position
            before = Mark.objects.filter(series=self.series).open().count()
            with suppress(Refused):
                shown = impact.of_end(lock, position)
                end_lock(lock=lock, at_position=position, by=self.lead, reason="over")
                assert Mark.objects.filter(series=self.series).open().count() - before == shown.opens - shown.closes

    @rule(number=which)
    def undo_a_decision(self, number: int) -> None:
        if lock := self._one(Lock.objects.filter(series=self.series), number):
            self._as_shown(partial(undo_decision, lock=lock, by=self.lead, reason="by mistake"))

    @rule(one=which, other=which, what=st.sampled_from(["merge", "marks", "part", "subjects"]))
    def regroup(self, one: int, other: int, what: str) -> None:
        source, target = self._part(one), self._part(other)
        of: dict[str, Any] = {"by": self.lead, "source": source, "target": target}
        deeds: dict[str, partial[Any]] = {
            "merge": partial(merge_parts, **of),
            "marks": partial(reassign_marks, **of, among=Mark.objects.filter(number=1)),
            "part": partial(move_part, part=source, costume=target.costume, by=self.lead),
            "subjects": partial(
                merge_subjects, source=source.costume.subject, target=target.costume.subject, by=self.lead
            ),
        }
        with suppress(Refused), transaction.atomic():
            self._as_shown(partial(afresh, deeds[what]))

    @rule(number=which)
    def undo_a_regrouping(self, number: int) -> None:
        if done := self._one(Regrouping.objects.filter(series=self.series).standing(), number):
            with suppress(Refused), transaction.atomic():
                self._as_shown(partial(undo_regrouping, regrouping=done, by=self.lead))

    @rule(number=which, behind=which)
    def move_an_issue(self, number: int, behind: int) -> None:
        issue, after = self._one(self.series.issues, number), self._one(self.series.issues, behind)
        move_issue(issue=issue, after=None if after == issue else after)

    @rule(number=which)
    def archive_an_issue_or_bring_it_back(self, number: int) -> None:
        issue = self._one(self.series.issues, number)
        archive(row=issue, archived=issue.archived_at is None, by=self.lead)

    @rule(number=which)
    def a_new_revision(self, number: int) -> None:
        guide = self._guide(number)
        with transaction.atomic():
            reopen(series_id=self.series.pk, issues=[guide.issue_id], by=self.lead, why="a new revision")
            stand_down(Guide.objects.filter(issue=guide.issue, page=guide.page))
            make_guide(guide.issue, page=guide.page, revision=guide.revision + 1, by=self.lead)

    @rule(number=which)
    def carry_marks_over(self, number: int) -> None:
        guide = self._one(Guide.objects.filter(series=self.series, is_current=True, revision__gt=1), number)
        source = source_of(guide) if guide else None
        if guide and source:
            with suppress(Refused):
                carry_marks(guide=guide, plan=foresee(guide, source, Carry.Way.FRACTIONS), by=self.lead)

    @rule(number=which)
    def take_a_carry_back(self, number: int) -> None:
        if carry := self._one(Carry.objects.filter(series=self.series), number):
            with suppress(Refused):
                undo_carry(carry=carry, by=self.lead)

    @rule(meaning=st.sampled_from([None, 50, 100]))
    def change_an_alias(self, meaning: int | None) -> None:
        aliases = {} if meaning is None else {"R4": meaning}
        notation = Notation.from_dict(LETTERS_64.to_dict() | {"aliases": aliases})
        change_reading(series=self.series, notation=notation, chart_kind=self.series.chart_kind)
        self.series.refresh_from_db()

    @rule(number=which)
    def waive_a_flag(self, number: int) -> None:
        if mark := self._one(Mark.objects.filter(series=self.series).open(), number):
            waive(marks=[mark], reason="a cloud", by=self.lead)

    @rule(number=which)
    def sign(self, number: int) -> None:
        issue = self._one(self.series.issues, number)
        if not issue.signed_off_at:
            if not issue.in_check_at:
                put_in_check(issue=issue, by=self.lead)
            sign_off(issue=issue, by=self.lead, words="as it is")


@pytest.mark.django_db
def test_whatever_light_falls_on_what_the_resolved_is_the_derived() -> None:
    run_state_machine_as_test(
        Lights,
        settings=settings(
            max_examples=EXAMPLES,
            stateful_step_count=STEPS,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
