"""Marks come along to a new scan: shown, carried with all that stands on them, taken back; and every refusal."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from django.utils import timezone

from bible.colour.shifts import Op, Shift, Step
from bible.models import Activity, ActivityKind, Issue, Scene, Series
from bible.scenes.services import set_scene
from bible.series.refusals import Refused
from bible.subjects.services import archive
from guides.core import continuity, recounting
from guides.core.notes import note_on_mark
from guides.core.scene_areas import Region, apply_scene
from guides.core.services import delete_mark, move_mark, restore_mark
from guides.core.waivers import remove_waiver, waive
from guides.desk.page_notes import write_page_note
from guides.imaging.proof.registration import project
from guides.imaging.proof.rescans import Laid
from guides.models import Carry, Guide, Mark, MarkNote, PaintReading, SceneArea, Waiver, awaiting_marks
from guides.signoff.services import put_in_check, sign_off
from guides.uploads.carrying import Plan, carry_marks, foresee, source_of, to_look_at, undo_carry
from tests.factories import make_guide, make_lock, make_mark, make_part, make_revision
from tests.guides.uploads.rescanned import FRACTIONS, carried, make_old, outside

pytestmark = pytest.mark.django_db


@pytest.fixture
def old(series: Series, lead: User) -> Guide:
    return make_old(series, lead)


def is_true(series: Series) -> None:
    assert continuity.discrepancies(series) == []
    assert recounting.discrepancies(series) == []


def test_marks_keep_what_they_say_and_the_old_revision_stays(old: Guide, lead: User, fill_in: User) -> None:
    part = make_part(old.series)
    make_lock(part, "YR3B2", by=lead)
    first = make_mark(old, "YR3B2", part=part, x=0.2, y=0.3, by=fill_in)
    make_mark(old, "scrawl", x=0.4, y=0.5, by=lead)
    make_mark(old, "Y", x=0.1, y=0.9, to=(0.6, 0.8), to_written="W", by=lead)
    gone = delete_mark(mark=make_mark(old, "B", by=lead), by=lead)
    guide, carry = carried(old, lead)
    said = (
        "number",
        "x",
        "y",
        "written",
        "to_written",
        "to_x",
        "to_y",
        "part",
        "role",
        "tint",
        "expected",
        "created_by",
    )
    live = old.marks.exclude(pk=gone.pk).order_by("number").values_list(*said)
    assert list(guide.marks.order_by("number").values_list(*said)) == list(live)
    assert guide.marks.live().count() == 3
    assert not old.marks.live().exists()
    assert Mark.objects.get(pk=first.pk).deleted_at is None
    assert guide.marks.get(number=1).lock_id is not None
    assert (carry.numbers, carry.unsure, carry.left, carry.source) == ([1, 2, 3], [], [], old)
    assert not awaiting_marks(Guide.objects.filter(pk=guide.pk)).exists()
    marked = Activity.objects.get(series=old.series, kind=ActivityKind.MARKED, by=lead)
    assert marked.count == 3 + 3
    is_true(old.series)


def test_waivers_notes_looks_scenes_and_page_notes_come_along(old: Guide, lead: User, fill_in: User) -> None:
    part = make_part(old.series)
    make_lock(part, "YR3B2", by=lead)
    flagged = make_mark(old, "Y", part=part, x=0.25, y=0.25, by=fill_in)
    other = make_mark(old, "Y", part=part, x=0.75, y=0.75, by=fill_in)
    scene = set_scene(scene=Scene(series=old.series, name="Night"), rule=Shift((Step(Op.ADD, "c", 25),)), by=lead)
    apply_scene(guide=old, scene=scene, region=Region(0.0, 0.0, 0.5, 0.5), by=lead)
    gone = waive(marks=[Mark.objects.get(pk=other.pk)], reason="over", by=lead)[0]
    remove_waiver(waiver=gone, by=lead)
    waiver = waive(marks=[Mark.objects.get(pk=flagged.pk)], reason="in disguise", by=lead)[0]
    note = note_on_mark(mark=flagged, text="as in the letter", by=fill_in)
    PaintReading.objects.create(
        series=old.series, mark=flagged, version=flagged.version, odd=True, looked_at=timezone.now(), looked_by=lead
    )
    write_page_note(issue=old.issue, first_page="7", last_page="", text="dusk", by=lead)
    guide, _ = carried(old, lead)
    new = guide.marks.get(number=flagged.number)
    assert (new.scene, new.waived) == (scene, True)
    kept = Waiver.objects.alive().get(mark=new)
    assert (kept.reason, kept.waived_by, kept.waived_at) == ("in disguise", lead, waiver.waived_at)
    assert not guide.marks.get(number=other.number).waived
    told = MarkNote.objects.get(mark=new)
    assert (told.text, told.written_by, told.written_at) == (note.text, fill_in, note.written_at)
    area = SceneArea.objects.get(guide=guide)
    assert (area.left, area.top, area.right, area.bottom) == (0.0, 0.0, 0.5, 0.5)
    look = PaintReading.objects.get(mark=new)
    assert look.looked_by == lead
    assert not PaintReading.objects.fresh().filter(mark=new).exists()
    assert Waiver.objects.alive().filter(mark=flagged).exists(), "the old revision keeps its own"
    is_true(old.series)


def test_a_waiver_whose_disagreement_is_gone_does_not_hold_on_the_new_scan(old: Guide, lead: User) -> None:
    part = make_part(old.series)
    make_lock(part, "YR3B2", by=lead)
    mark = make_mark(old, "Y", part=part, x=0.9, y=0.9, by=lead)
    scene = set_scene(scene=Scene(series=old.series, name="Night"), rule=Shift((Step(Op.ADD, "c", 25),)), by=lead)
    apply_scene(guide=old, scene=scene, region=Region(0.8, 0.8, 1.0, 1.0), by=lead)
    waive(marks=[Mark.objects.get(pk=mark.pk)], reason="so", by=lead)
    guide = make_revision(old)
    carry_marks(guide=guide, plan=replace(foresee(guide, old, FRACTIONS), areas=()), by=lead)
    new = guide.marks.get()
    assert (new.scene, new.waived) == (None, False)
    assert not Waiver.objects.alive().filter(mark=new).exists()
    is_true(old.series)


@pytest.mark.parametrize("edge", [False, True])
def test_what_falls_outside_stays_behind_or_stands_at_the_edge(old: Guide, lead: User, edge: bool) -> None:
    for x in (0.9, 0.5, 0.1):
        make_mark(old, "Y", x=x, by=lead)
    guide = make_revision(old)
    plan = foresee(guide, old, FRACTIONS)
    carry = carry_marks(guide=guide, plan=replace(plan, moved=outside(plan)), by=lead, edge=edge)
    assert (carry.numbers, carry.left) == (([1, 2, 3], []) if edge else ([2, 3], [1]))
    assert carry.unsure == ([1, 2] if edge else [2])
    assert [mark.number for mark in to_look_at(carry)] == carry.unsure
    move_mark(mark=guide.marks.get(number=2), x=0.4, y=0.4, by=lead)
    assert 2 not in [mark.number for mark in to_look_at(carry)]
    is_true(old.series)


def test_numbers_that_are_taken_on_the_new_scan_are_given_anew(old: Guide, lead: User) -> None:
    make_mark(old, "Y", by=lead)
    make_mark(old, "YR", by=lead)
    guide = make_revision(old)
    own = make_mark(guide, "B", by=lead)
    carry = carry_marks(guide=guide, plan=foresee(guide, old, FRACTIONS), by=lead)
    assert dict(guide.marks.values_list("number", "written")) == {own.number: "B", 2: "YR", 3: "Y"}
    assert carry.numbers == [3, 2]


def test_taken_back_and_carried_in_another_way(old: Guide, lead: User) -> None:
    make_mark(old, "Y", by=lead)
    guide, carry = carried(old, lead)
    undo_carry(carry=carry, by=lead)
    assert not guide.marks.live().exists()
    assert awaiting_marks(Guide.objects.filter(pk=guide.pk)).exists()
    carry_marks(guide=guide, plan=foresee(guide, old, FRACTIONS), by=lead)
    assert guide.marks.live().count() == 1
    is_true(old.series)
    with pytest.raises(Refused, match="already"):
        undo_carry(carry=carry, by=lead)


def test_taking_back_is_refused_where_work_would_be_lost(old: Guide, lead: User) -> None:
    make_mark(old, "Y", by=lead)
    guide, carry = carried(old, lead)
    move_mark(mark=guide.marks.get(), x=0.1, y=0.1, by=lead)
    with pytest.raises(Refused, match="Changed since they were carried over: 1"):
        undo_carry(carry=carry, by=lead)
    make_revision(guide)
    with pytest.raises(Refused, match="newer scan"):
        undo_carry(carry=carry, by=lead)


def test_begun_empty_waits_no_more(old: Guide, lead: User) -> None:
    make_mark(old, "Y", by=lead)
    guide = make_revision(old)
    carry = carry_marks(guide=guide, plan=foresee(guide, old, Carry.Way.EMPTY), by=lead)
    assert carry.is_empty
    assert not guide.marks.exists()
    assert not awaiting_marks(Guide.objects.filter(pk=guide.pk)).exists()


def test_refusals_of_carrying(old: Guide, lead: User) -> None:
    make_mark(old, "Y", by=lead)
    gone = delete_mark(mark=make_mark(old, "Y", by=lead), by=lead)
    guide = make_revision(old)
    plan = foresee(guide, old, FRACTIONS)
    with pytest.raises(Refused, match="no older scan"):
        carry_marks(guide=guide, plan=replace(plan, source=make_guide(old.issue, by=lead).pk), by=lead)
    with pytest.raises(Refused, match="have changed since"):
        carry_marks(guide=guide, plan=replace(plan, moved=()), by=lead)
    restore_mark(mark=gone, by=lead)
    with pytest.raises(Refused, match="have changed since"):
        carry_marks(guide=guide, plan=plan, by=lead)
    assert not guide.marks.exists()


def test_refusals_of_a_second_answer_an_archived_issue_and_a_newer_scan(old: Guide, lead: User) -> None:
    make_mark(old, "Y", by=lead)
    guide = make_revision(old)
    plan = foresee(guide, old, FRACTIONS)
    archive(row=old.issue, by=lead)
    with pytest.raises(Refused, match="archived"):
        carry_marks(guide=guide, plan=plan, by=lead)
    archive(row=old.issue, archived=False, by=lead)
    carry_marks(guide=guide, plan=plan, by=lead)
    with pytest.raises(Refused, match="answered already"):
        carry_marks(guide=guide, plan=plan, by=lead)
    make_revision(guide)
    with pytest.raises(Refused, match="newer scan"):
        carry_marks(guide=guide, plan=plan, by=lead)


def test_the_database_holds_one_answer_a_page(old: Guide, lead: User) -> None:
    make_mark(old, "Y", by=lead)
    guide, carry = carried(old, lead)
    with pytest.raises(IntegrityError), transaction.atomic():
        Carry.objects.create(series=old.series, guide=guide, source=old, way=FRACTIONS, by=lead)
    assert carry.guide == guide


def test_a_signed_issue_opens_again(old: Guide, lead: User) -> None:
    make_mark(old, "Y", by=lead)
    guide = make_revision(old)
    put_in_check(issue=old.issue, by=lead)
    sign_off(issue=old.issue, by=lead, words="as it is")
    carry_marks(guide=guide, plan=foresee(guide, old, FRACTIONS), by=lead)
    assert Issue.objects.get(pk=old.issue_id).signed_off_at is None


def test_the_source_is_the_newest_older_scan_that_has_marks(old: Guide, lead: User) -> None:
    make_mark(old, "Y", by=lead)
    empty = make_revision(old)
    newest = make_revision(empty)
    assert source_of(newest) == old
    assert source_of(old) is None


class Shifted:
    """A registration that moves everything by a tenth of the page to the right; the second place is unsure."""

    agreeing, turned = 0.8, -2.0


def test_marks_ends_and_areas_go_through_the_registration(
    old: Guide, lead: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_mark(old, "Y", x=0.2, y=0.2, to=(0.4, 0.4), to_written="W", by=lead)
    make_mark(old, "Y", x=0.3, y=0.3, by=lead)
    make_mark(old, "Y", x=0.95, y=0.3, by=lead)
    make_mark(old, "Y", x=0.5, y=0.5, to=(0.95, 0.5), to_written="W", by=lead)
    scene = set_scene(scene=Scene(series=old.series, name="Night"), rule=Shift((Step(Op.ADD, "c", 25),)), by=lead)
    apply_scene(guide=old, scene=scene, region=Region(0.0, 0.0, 0.5, 0.5), by=lead)
    apply_scene(guide=old, scene=scene, by=lead)
    apply_scene(guide=old, scene=scene, region=Region(0.95, 0.0, 1.0, 0.5), by=lead)

    def lay(before: Any, after: Any, points: Any) -> Laid:
        move = np.array([[1, 0, 0.1], [0, 1, 0], [0, 0, 1]], dtype=float)
        moved = project(move, np.asarray(points))
        sure = np.ones(len(moved), dtype=bool)
        sure[1] = False
        return Laid(moved, ((moved >= 0) & (moved <= 1)).all(axis=1), sure, Shifted())  # type: ignore[arg-type]

    monkeypatch.setattr("guides.uploads.carrying.lay", lay)
    guide = make_revision(old)
    plan = foresee(guide, old)
    assert [(round(one.x, 3), one.y, one.inside, one.sure) for one in plan.moved] == [
        (0.3, 0.2, True, True),
        (0.4, 0.3, True, False),
        (1.0, 0.3, False, False),
        (0.6, 0.5, True, False),
    ]
    assert plan.moved[0].to == (0.5, 0.4)
    assert plan.moved[3].to == (1.0, 0.5)
    assert "arrow" in plan.moved[3].why
    edges = [[at[name] for name in ("left", "top", "right", "bottom")] for _, at in plan.areas]
    assert sorted(edges) == [[0.0, 0.0, 1.0, 1.0], [0.1, 0.0, 0.6, 0.5]]
    assert "80 % of the older scan’s lines" in plan.words
    assert "2° anticlockwise" in plan.words
    assert Plan.opened(plan.sealed(), guide) == plan
