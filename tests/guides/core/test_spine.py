"""What once could go from the spine without a test noticing: the record of a mark, an arrow's end, rows held before deciding."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse

from bible.colour.charts import CHART_125_75
from bible.colour.shifts import Op, Shift, Step
from bible.colour.tints import Tint
from bible.locks.afresh import lock_afresh
from bible.locks.services import (
    LockToBe,
    correct_lock,
    end_lock,
    follow_chart,
    lock_rule,
    lock_tint,
)
from bible.locks.stretches import pieces_of
from bible.locks.undoing import undo_decision, undo_moments
from bible.models import Activity, ActivityKind, Issue, Lock, Part, Scene, Series
from bible.models.stretches import Stretch
from bible.scenes.services import set_scene
from bible.series.refusals import Refused
from bible.subjects.wearing import set_worn
from guides.core import continuity
from guides.core.once import state_of
from guides.core.scene_areas import apply_scene, remove_scene
from guides.core.services import (
    NewMark,
    delete_mark,
    move_mark,
    place_marks,
    point_mark,
    put_back,
    restore_mark,
    rewrite_mark,
    say_colourist,
)
from guides.core.waivers import waive
from guides.models import Guide, Mark, SceneArea
from guides.signoff.services import put_in_check, reopen, set_pages, sign_off, withdraw
from tests.factories import make_guide, make_issue, make_issues, make_lock, make_mark, make_member, make_part
from tests.guides.core.scans import bring_page

pytestmark = pytest.mark.django_db


@pytest.fixture
def guide(series: Series, lead: Any) -> Guide:
    return make_guide(make_issue(series), page="7", by=lead)


def told(series: Series) -> list[tuple[str, Any, str, int]]:
    """What was recorded: kind, by whom, on which page, how many."""
    rows = Activity.objects.filter(series=series).order_by("pk")
    return [(row.kind, row.by, row.page, row.count) for row in rows]


def test_each_deed_on_a_mark_is_recorded_with_its_person_and_page(guide: Guide, lead: Any, fill_in: Any) -> None:
    mark = make_mark(guide, "Y", by=lead)
    rewrite_mark(mark=mark, written="YR", part=None, role="base", by=fill_in)
    delete_mark(mark=Mark.objects.get(pk=mark.pk), by=lead)
    assert told(guide.series) == [
        (ActivityKind.MARKED, lead, "7", 1),
        (ActivityKind.REWROTE, fill_in, "7", 1),
        (ActivityKind.UNMARKED, lead, "7", 1),
    ]


def test_an_arrow_goes_along_with_its_mark_and_stays_on_the_page(guide: Guide, lead: Any) -> None:
    mark = make_mark(guide, "YR", x=0.2, y=0.2, to_written="Y2", to=(0.3, 0.5))
    moved = move_mark(mark=mark, x=0.4, y=0.3, by=lead)
    stored = Mark.objects.get(pk=mark.pk)
    assert (stored.x, stored.y) == (moved.x, moved.y) == (0.4, 0.3)
    assert (stored.to_x, stored.to_y) == pytest.approx((0.5, 0.6))
    move_mark(mark=stored, x=0.95, y=0.95, by=lead)
    stored.refresh_from_db()
    assert stored.to_x is not None
    assert stored.to_y is not None
    assert (stored.to_x, stored.to_y) != pytest.approx((0.5, 0.6))
    assert 0 <= stored.to_x <= 1
    assert 0 <= stored.to_y <= 1


def test_a_flat_mark_that_is_moved_gets_no_arrow(guide: Guide, lead: Any) -> None:
    mark = move_mark(mark=make_mark(guide, "YR"), x=0.4, y=0.3, by=lead)
    assert (mark.to_x, mark.to_y, mark.to_written) == (None, None, "")


def test_a_mark_that_is_put_back_says_what_it_said_with_its_arrow(guide: Guide, lead: Any) -> None:
    part = make_part(guide.series)
    mark = make_mark(guide, "YR", part=part, role="shade", x=0.2, y=0.2, to_written="Y2", to=(0.3, 0.5))
    before = state_of(mark)
    changed = rewrite_mark(mark=mark, written="B", part=None, role="base", by=lead)
    put_back(mark=changed, state=before, by=lead, seen=changed.version)
    stored = Mark.objects.get(pk=mark.pk)
    assert state_of(stored) == before
    assert (stored.part, stored.tint, stored.to_tint) == (part, mark.tint, mark.to_tint)
    gone = put_back(mark=stored, state=None, by=lead, seen=stored.version)
    assert gone.deleted_at
    assert not gone.live
    assert restore_mark(mark=gone, by=lead).live


def test_a_waiver_opens_the_issue_that_was_signed_with_the_flag(guide: Guide, lead: Any) -> None:
    part = make_part(guide.series)
    make_lock(part, "YR3B2", by=lead)
    mark = make_mark(guide, "YR", part=part)
    issue = guide.issue
    sign_off(issue=issue, by=make_member(guide.series, "editor"), words="as it is")
    waive(marks=[Mark.objects.get(pk=mark.pk)], reason="a disguise", by=lead)
    issue.refresh_from_db()
    assert issue.signed_off_at is None
    assert issue.in_check_at
    assert issue.steps.get(kind="reopened").words == "1 flag waived: a disguise"


def test_marks_in_a_scene_owe_another_tint_when_its_rule_changes(guide: Guide, lead: Any) -> None:
    part = make_part(guide.series)
    make_lock(part, "YR", by=lead)
    mark = make_mark(guide, "YR", part=part)
    scene = set_scene(scene=Scene(series=guide.series, name="Night"), rule=Shift((Step(Op.ADD, "c", 25),)), by=lead)
    apply_scene(guide=guide, scene=scene, by=lead)
    mark.refresh_from_db()
    assert mark.expected == Tint(25, 100, 100)
    set_scene(scene=scene, rule=Shift((Step(Op.ADD, "c", 50),)), by=lead)
    mark.refresh_from_db()
    assert mark.expected == Tint(50, 100, 100)


@pytest.mark.parametrize("one_by_one", [0, 200])
def test_decisions_for_many_parts_reach_their_marks_as_those_for_few_do(
    guide: Guide, lead: Any, monkeypatch: pytest.MonkeyPatch, one_by_one: int
) -> None:
    monkeypatch.setattr(continuity, "PARTS_ONE_BY_ONE", one_by_one)
    parts = [make_part(guide.series) for _ in range(3)]
    for part in parts:
        make_mark(guide, "YR", part=part)
    decisions = [LockToBe(part.pk, "base", Tint(0, 0, 100), "Y", 0, None, "so") for part in parts]
    lock_afresh(series=guide.series, decisions=decisions, by=lead)
    assert set(Mark.objects.values_list("expected", flat=True)) == {Tint(0, 0, 100)}
    assert Mark.objects.flagged().count() == 3
    assert continuity.discrepancies(guide.series) == []


def test_a_decision_that_opens_an_issue_again_says_whose_it_was(guide: Guide, lead: Any) -> None:
    part = make_part(guide.series)
    lock = make_lock(part, "YR3B2", by=lead)
    make_mark(guide, "YR3B2", part=part)
    sign_off(issue=guide.issue, by=make_member(guide.series, "editor"), words="as it is")
    correct_lock(lock=lock, tint=guide.series.read("Y"), written="Y", by=lead, reason="slip")
    assert guide.issue.steps.get(kind="reopened").by == lead


def test_whoever_may_not_is_told_who_may_and_nobody_else(series: Series, lead: Any, fill_in_client: Client) -> None:
    editor = make_member(series, "editor", username="ed", first_name="Ed", last_name="Keeper")
    said = fill_in_client.get(reverse("new-subject", args=[series.slug]))
    assert said.status_code == 403
    assert lead.username in said.content.decode()
    assert editor.get_full_name() not in said.content.decode()


def test_neighbouring_stretches_that_a_rule_makes_alike_become_one() -> None:
    deep, pale = Tint(75, 0, 100), Tint(100, 0, 100)
    rule = Shift((Step(Op.ADD, "c", 25),))
    bases = [(0, 10, deep), (10, 20, pale), (30, None, pale)]
    assert pieces_of(bases, rule, CHART_125_75, 5, None) == [(5, 20, pale), (30, None, pale)]


Y, SHADE = Tint(0, 0, 100), Shift((Step(Op.ADD, "c", 25),))
DECISIONS: dict[str, Callable[[Lock, Any, Any], Any]] = {
    "locked": lambda lock, tint, by: lock_tint(
        part=lock.part, role="base", tint=tint, written="Y", from_position=0, by=by
    ),
    "locked by rule": lambda lock, tint, by: lock_rule(
        part=lock.part, role="shade", rule=SHADE, from_position=0, by=by
    ),
    "locked afresh": lambda lock, tint, by: lock_afresh(
        series=lock.series, decisions=[LockToBe(lock.part_id, "shade", tint, "Y", 0, None, "so")], by=by
    ),
    "corrected": lambda lock, tint, by: correct_lock(lock=lock, tint=tint, written="Y", by=by, reason="slip"),
    "ended": lambda lock, tint, by: end_lock(lock=lock, at_position=10**6, by=by, reason="over"),
    "another time": lambda lock, tint, by: set_worn(costume=lock.part.costume, worn=[Stretch(0, 10**6)], by=by),
}


@pytest.mark.parametrize("name", ["locked", "locked by rule", "locked afresh", "corrected", "ended"])
def test_nothing_is_decided_for_a_part_that_has_gone_meanwhile(series: Series, lead: Any, name: str) -> None:
    lock = make_lock(make_part(series), "YR", by=lead)
    assert lock.part.costume.subject.series == series
    Lock.objects.filter(pk=lock.pk).delete()
    Part.objects.filter(pk=lock.part_id).delete()
    with pytest.raises(Refused, match="deleted meanwhile"):
        DECISIONS[name](lock, series.read("Y"), lead)


def locks_of(mark: Mark, role: str = "base") -> Lock:
    return Lock.objects.standing().get(part=mark.part, role=role)


def afresh(mark: Mark, by: Any) -> None:
    decision = LockToBe(mark.part_id or 0, "highlight", Y, "Y", 0, None, "so")
    lock_afresh(series=mark.series, decisions=[decision], by=by)


def issue(mark: Mark, number: int) -> Issue:
    return mark.series.issues.in_order()[number - 1]


MARKING = "series KEY SHARE, issue NO KEY UPDATE, mark NO KEY UPDATE"
WITH_PART = "series KEY SHARE, part SHARE, issue NO KEY UPDATE, mark NO KEY UPDATE"
ON_A_PAGE = "series KEY SHARE, issue NO KEY UPDATE, guide NO KEY UPDATE, mark NO KEY UPDATE x2"
DECIDING = "series NO KEY UPDATE, part NO KEY UPDATE, issue NO KEY UPDATE, mark NO KEY UPDATE x2, series KEY SHARE"
SIGNING = "series UPDATE, issue NO KEY UPDATE"
HELD: dict[str, tuple[str, Callable[[Mark, Any], Any]]] = {
    "placed": ("series KEY SHARE, part SHARE, issue NO KEY UPDATE, guide NO KEY UPDATE",
               lambda mark, by: place_marks(guide=mark.guide, by=by, rows=[NewMark(0.5, 0.5, "Y", mark.part)])),
    "moved": (MARKING, lambda mark, by: move_mark(mark=mark, x=0.4, y=0.3, by=by)),
    "pointed elsewhere": (MARKING, lambda mark, by: point_mark(mark=mark, x=0.4, y=0.3, by=by)),
    "rewritten": (WITH_PART, lambda mark, by: rewrite_mark(mark=mark, written="Y", part=mark.part, role="base", by=by)),
    "taken off": (MARKING, lambda mark, by: delete_mark(mark=mark, by=by)),
    "brought back": (MARKING, lambda mark, by: restore_mark(mark=mark, by=by)),
    "put back": (WITH_PART, lambda mark, by: put_back(mark=mark, state=state_of(mark), by=by, seen=mark.version)),
    "taken back": (MARKING, lambda mark, by: put_back(mark=mark, state=None, by=by, seen=mark.version)),
    "whose page": ("series KEY SHARE, guide NO KEY UPDATE, mark NO KEY UPDATE x2",
                   lambda mark, by: say_colourist(guide=mark.guide, colourist=by, by=by)),
    "another scan": (ON_A_PAGE, lambda mark, by: bring_page(mark.guide.issue, "7", by=by)),
    "scene": (ON_A_PAGE, lambda mark, by: apply_scene(guide=mark.guide, scene=Scene.objects.get(), by=by)),
    "no scene": (ON_A_PAGE, lambda mark, by: remove_scene(area=SceneArea.objects.get(), by=by)),
    "waived": (MARKING, lambda mark, by: waive(marks=Mark.objects.flagged(), reason="so", by=by)),
    "locked": (DECIDING, lambda mark, by: DECISIONS["locked"](locks_of(mark), Y, by)),
    "locked by rule": (DECIDING, lambda mark, by: DECISIONS["locked by rule"](locks_of(mark), Y, by)),
    "locked afresh": (DECIDING, afresh),
    "corrected": (DECIDING, lambda mark, by: DECISIONS["corrected"](locks_of(mark), Y, by)),
    "ended": (DECIDING, lambda mark, by: DECISIONS["ended"](locks_of(mark), Y, by)),
    "another time": (DECIDING, lambda mark, by: DECISIONS["another time"](locks_of(mark), Y, by)),
    "undone": (DECIDING, lambda mark, by: undo_decision(lock=locks_of(mark), by=by)),
    "moments undone": (DECIDING, lambda mark, by: undo_moments(
        series=mark.series, moments=[locks_of(mark, "shade").decided_at], by=by)),
    "chart": (DECIDING, lambda mark, by: follow_chart(series=mark.series, by=by)),
    "in check": (SIGNING, lambda mark, by: put_in_check(issue=issue(mark, 3), by=by)),
    "out of check": (SIGNING, lambda mark, by: withdraw(issue=issue(mark, 2), by=by)),
    "signed off": (SIGNING, lambda mark, by: sign_off(issue=issue(mark, 2), by=by, words="so")),
    "opened": (f"{SIGNING}, series KEY SHARE", lambda mark, by: reopen(issue=mark.guide.issue, by=by, words="so")),
    "pages": (f"{SIGNING}, series KEY SHARE",
              lambda mark, by: set_pages(issue=mark.guide.issue, own=3, usual=None, by=by)),
}  # fmt: skip
"""What each deed holds, in this order, where its issue is signed; the first of it before anything is written."""


class Holding:
    """Overhears what PostgreSQL would be asked to hold, on either database: SQLite lets one write at a time, and is
    asked for nothing. ``said``: kinds of rows, how they are held, and how many if several."""

    vendor = "postgresql"
    ASKED = re.compile(r"SELECT count\(\*\) FROM \((.+) FOR ([A-Z ]+) OF .(?:bible|guides)_(\w+).\) held")

    def __init__(self) -> None:
        self.ops, self.said, self.too_soon = connection.ops, list[str](), list[str]()
        self.outside = len(connection.savepoint_ids)

    @property
    def in_atomic_block(self) -> bool:
        """Whether the deed began a transaction of its own, within that of the test."""
        return len(connection.savepoint_ids) > self.outside

    @contextmanager
    def cursor(self) -> Iterator[Holding]:
        yield self

    def execute(self, sql: str, params: Any) -> None:
        asked = self.ASKED.fullmatch(sql)
        assert asked, sql
        rows, how, table = asked.groups()
        with connection.cursor() as cursor:
            cursor.execute(rows, params)
            if count := len(cursor.fetchall()):
                self.said.append(f"{table} {how}" + (f" x{count}" if count > 1 else ""))

    def overhear(self, execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        if not self.said and sql.startswith(("INSERT", "UPDATE", "DELETE")):
            self.too_soon.append(sql)
        return execute(sql, params, many, context)


@pytest.mark.parametrize("name", HELD)
def test_what_a_deed_holds_and_that_it_does_so_first(
    series: Series, lead: Any, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second, _ = make_issues(series, 3)
    guide, part = make_guide(first, page="7", by=lead), make_part(series)
    make_lock(part, "YR", by=lead)
    lock_rule(part=part, role="shade", rule=SHADE, from_position=0, by=lead)
    mark = make_mark(guide, "YR", part=part, to_written="Y", by=lead)
    make_mark(guide, "YR", part=part, by=lead)
    night = set_scene(scene=Scene(series=series, name="Night"), rule=SHADE, by=lead)
    if name == "no scene":
        apply_scene(guide=guide, scene=night, by=lead)
    editor = make_member(series, "editor")
    sign_off(issue=first, by=editor, words="as it is")
    put_in_check(issue=second, by=lead)
    awaited, deed = HELD[name]
    holding = Holding()
    monkeypatch.setattr("bible.series.holding.connection", holding)
    with connection.execute_wrapper(holding.overhear):
        deed(Mark.objects.get(pk=mark.pk), editor if name == "signed off" else lead)
    assert ", ".join(dict.fromkeys(holding.said)) == awaited
    assert not holding.too_soon
