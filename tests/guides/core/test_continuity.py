"""Does a mark agree with the bible: every kind of flag, and what may change it."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from bible.chart.services import change_reading
from bible.colour.notation import LETTERS_64, Notation
from bible.colour.shifts import Op, Shift, Step
from bible.colour.tints import Tint
from bible.locks.services import correct_lock, end_lock
from bible.models import Scene, Series
from bible.models.fields import NoTint
from bible.models.stretches import Stretch
from bible.scenes.services import set_scene
from bible.series.services import move_issue
from bible.subjects.wearing import set_worn
from guides.core import continuity
from guides.core.scene_areas import Region, apply_scene
from guides.core.services import NewMark, delete_mark, move_mark, place_marks, restore_mark, rewrite_mark
from guides.models import FlagKind, Mark
from tests.factories import make_guide, make_issues, make_lock, make_mark, make_part

pytestmark = pytest.mark.django_db


def kinds(series: Series) -> list[FlagKind | None]:
    """The kinds of all open flags, and a check that both ways of finding them agree."""
    assert continuity.discrepancies(series) == []
    flagged = Mark.objects.filter(series=series).flagged().in_order()
    counted = flagged.kind_counts()
    listed = [mark.flag_kind for mark in flagged]
    assert {kind: listed.count(kind) for kind in FlagKind} == counted
    return listed


@pytest.fixture
def issues(series: Series) -> list[Any]:
    return make_issues(series, 5)


def test_a_mark_that_carries_the_locked_tint_agrees(series: Series, issues: list[Any]) -> None:
    part = make_part(series)
    make_lock(part, "YR3B2")
    mark = make_mark(make_guide(issues[0]), "b2 y r3", part=part)
    mark.refresh_from_db()
    assert mark.tint == mark.expected == Tint(25, 50, 100)
    assert mark.lock is not None
    assert kinds(series) == []


def test_another_tint_differs(series: Series, issues: list[Any]) -> None:
    part = make_part(series)
    make_lock(part, "YR3B2")
    make_mark(make_guide(issues[0]), "YRB2", part=part)
    assert kinds(series) == [FlagKind.DIFFERS]


@pytest.mark.parametrize("written", ["YR4", "??", "Y3Y2", "C37 M12"])
def test_what_cannot_be_read_or_is_not_on_the_chart_is_flagged_and_kept(
    series: Series, issues: list[Any], written: str
) -> None:
    part = make_part(series)
    make_lock(part)
    mark = make_mark(make_guide(issues[0]), written, part=part)
    mark.refresh_from_db()
    assert mark.written == written
    assert mark.tint == NoTint.UNREADABLE
    assert kinds(series) == [FlagKind.UNREADABLE]


def test_an_unreadable_code_on_a_part_without_a_lock_is_still_one_flag(series: Series, issues: list[Any]) -> None:
    make_mark(make_guide(issues[0]), "scrawl", part=make_part(series))
    assert kinds(series) == [FlagKind.UNREADABLE]


def test_a_known_part_with_nothing_locked_at_this_issue(series: Series, issues: list[Any]) -> None:
    part = make_part(series)
    make_lock(part, from_position=issues[2].position)
    make_mark(make_guide(issues[1]), part=part)
    make_mark(make_guide(issues[2]), part=part)
    assert kinds(series) == [FlagKind.NO_LOCK]


def test_another_role_has_its_own_lock(series: Series, issues: list[Any]) -> None:
    part = make_part(series)
    make_lock(part, "YR3B2")
    make_mark(make_guide(issues[0]), "YR3B2", part=part, role="shade")
    assert kinds(series) == [FlagKind.NO_LOCK]
    make_lock(part, "YR3B3", role="shade")
    assert kinds(series) == [FlagKind.DIFFERS]


def test_a_costume_outside_its_time_is_out_of_use_whatever_the_code(series: Series, issues: list[Any]) -> None:
    part = make_part(series)
    make_lock(part, "YR3B2")
    make_mark(make_guide(issues[3]), "YR3B2", part=part)
    set_worn(costume=part.costume, worn=[Stretch(0, issues[2].position)])
    assert kinds(series) == [FlagKind.OUT_OF_USE]
    set_worn(costume=part.costume, worn=[Stretch(0, None)])
    assert kinds(series) == []


@pytest.mark.parametrize("written", ["YR3B2", "scrawl"])
def test_background_is_never_flagged(series: Series, issues: list[Any], written: str) -> None:
    make_mark(make_guide(issues[0]), written)
    assert kinds(series) == []


def test_a_lock_changes_what_later_issues_owe_and_leaves_earlier_ones(series: Series, issues: list[Any]) -> None:
    part = make_part(series)
    make_lock(part, "YR3B2")
    marks = [make_mark(make_guide(issue), "YR3B2", part=part) for issue in issues]
    make_lock(part, "YRB2", from_position=issues[3].position)
    flagged = {mark.pk for mark in Mark.objects.filter(series=series).flagged()}
    assert flagged == {marks[3].pk, marks[4].pk}
    assert kinds(series) == [FlagKind.DIFFERS] * 2


def test_ending_and_correcting_a_lock_reach_its_marks(series: Series, issues: list[Any], lead: Any) -> None:
    part = make_part(series)
    lock = make_lock(part, "YR3B2")
    make_mark(make_guide(issues[1]), "YR3B2", part=part)
    lock = correct_lock(lock=lock, tint=series.read("YB"), written="YB", by=lead, reason="misread")
    assert kinds(series) == [FlagKind.DIFFERS]
    end_lock(lock=lock, at_position=issues[1].position, by=lead, reason="coat lost")
    assert kinds(series) == [FlagKind.NO_LOCK]


def test_a_mark_rewritten_moved_deleted_and_restored(series: Series, issues: list[Any], lead: Any) -> None:
    part = make_part(series)
    make_lock(part, "YR3B2")
    mark = make_mark(make_guide(issues[0]), "YRB2", part=part)
    assert kinds(series) == [FlagKind.DIFFERS]
    move_mark(mark=mark, x=0.1, y=0.9, by=lead)
    assert kinds(series) == [FlagKind.DIFFERS]
    delete_mark(mark=mark, by=lead)
    assert kinds(series) == []
    restore_mark(mark=mark, by=lead)
    assert kinds(series) == [FlagKind.DIFFERS]
    rewrite_mark(mark=mark, written="YR3B2", part=part, role="base", by=lead)
    assert kinds(series) == []


def test_an_issue_moved_in_the_running_order_owes_what_holds_there(series: Series, issues: list[Any]) -> None:
    part = make_part(series)
    make_lock(part, "YR3B2")
    make_lock(part, "YRB2", from_position=issues[3].position)
    make_mark(make_guide(issues[0]), "YR3B2", part=part)
    assert kinds(series) == []
    move_issue(issue=issues[0], after=issues[3])
    assert kinds(series) == [FlagKind.DIFFERS]


def test_an_alias_makes_old_texts_readable_and_rewrites_nothing(series: Series, issues: list[Any]) -> None:
    part = make_part(series)
    make_lock(part, "YR")
    mark = make_mark(make_guide(issues[0]), "yr4", part=part)
    assert kinds(series) == [FlagKind.UNREADABLE]
    notation = Notation.from_dict(LETTERS_64.to_dict() | {"aliases": {"R4": 100}})
    change_reading(series=series, notation=notation, chart_kind="64")
    series.refresh_from_db()
    mark.refresh_from_db()
    assert mark.written == "yr4"
    assert kinds(series) == []


def test_a_mark_placed_alone_is_resolved_as_among_many(series: Series, issues: list[Any], lead: Any) -> None:
    coat, boots = make_part(series), make_part(series)
    make_lock(coat, "YR3B2")
    make_lock(coat, "Y", role="highlight", from_position=issues[1].position)
    make_lock(boots, "YB")
    set_worn(costume=boots.costume, worn=[Stretch(0, issues[2].position)])
    night = set_scene(scene=Scene(series=series, name="Night"), rule=Shift((Step(Op.UP, "c", 1),)), by=lead)
    says = [(coat, "base"), (coat, "shade"), (coat, "highlight"), (boots, "base"), (None, "base")]
    for issue in (issues[0], issues[3]):
        guide = make_guide(issue)
        apply_scene(guide=guide, scene=night, region=Region(0, 0, 0.5, 1), by=lead)
        rows = [NewMark(x, 0.5, "YR3B2", part, role) for x in (0.2, 0.8) for part, role in says]
        alone = [place_marks(guide=guide, by=lead, rows=[row])[0] for row in rows]
        many = place_marks(guide=guide, by=lead, rows=rows)
        for mark in alone:
            told = mark.lock_id, mark.expected, mark.scene_id
            mark.refresh_from_db()
            assert told == (mark.lock_id, mark.expected, mark.scene_id)
        resolved = list(Mark.objects.filter(pk__in=[mark.pk for mark in many]).order_by("number"))
        assert [(m.lock_id, m.expected) for m in alone] == [(m.lock_id, m.expected) for m in resolved]
        assert len({m.expected for m in alone}) == (4 if issue == issues[0] else 6)
    assert continuity.discrepancies(series) == []


def test_resolving_takes_one_update_however_many_marks(series: Series, issues: list[Any]) -> None:
    part = make_part(series)
    guide = make_guide(issues[0])
    for _ in range(5):
        make_mark(guide, part=part)
    with CaptureQueriesContext(connection) as queries:
        assert continuity.resolve(Mark.objects.filter(series=series)) == 5
    gradients, update, anything_held_together, outdated_waivers = queries
    assert gradients["sql"].startswith("SELECT 1")  # is any locked at all? An index of few rows answers
    assert update["sql"].startswith("UPDATE")
    assert anything_held_together["sql"].startswith("SELECT")
    assert outdated_waivers["sql"].startswith("SELECT")
