"""What is shown before a change is saved is what happens when it is."""

from __future__ import annotations

from typing import Any

import pytest
from django.utils import timezone

from bible.colour.shifts import Op, Shift, Step
from bible.locks.services import correct_lock, end_lock, lock_rule, lock_tint
from bible.models import Issue, Scene, Series
from bible.scenes.services import set_scene
from bible.series.services import move_issue
from guides.core import impact
from guides.core.scene_areas import apply_scene
from guides.core.waivers import waive
from guides.models import Mark
from tests.factories import make_guide, make_issues, make_lock, make_mark, make_part

pytestmark = pytest.mark.django_db
CYAN = Shift((Step(Op.ADD, "c", 25),))


@pytest.fixture
def issues(series: Series) -> list[Any]:
    return make_issues(series, 5)


@pytest.fixture
def part(series: Series, issues: list[Any], lead: Any) -> Any:
    """Locked to YR3B2 throughout, its shade by rule; right, wrong, waived, shaded and night-time marks in issues."""
    part = make_part(series)
    make_lock(part, "YR", by=lead)
    lock_rule(part=part, role="shade", rule=CYAN, from_position=0, by=lead)
    night = set_scene(scene=Scene(series=series, name="Night"), rule=CYAN, by=lead)
    for issue in issues:
        guide = make_guide(issue, by=lead)
        make_mark(guide, "YR", part=part)
        make_mark(guide, "YRB2", part=part, role="shade")
        wrong = make_mark(guide, "Y", part=part)
        make_mark(guide, "B", part=part)
        waive(marks=[wrong], reason="in disguise", by=lead)
        dark = make_guide(issue, by=lead)
        apply_scene(guide=dark, scene=night, by=lead)
        make_mark(dark, "YRB2", part=part)
        make_mark(dark, "YB2", part=part)
    return part


def rows(found: impact.Impact) -> list[tuple[str, int, int]]:
    return [(row.issue.number, row.opens, row.closes) for row in found.rows]


def test_a_lock_counts_what_opens_and_what_closes(part: Any, issues: list[Any]) -> None:
    """Y from issue 4 on: the two right marks of base and shade open as does the night's, and the scene's YB2 and
    nothing else close; the waived Y was open no more and now agrees."""
    found = impact.of_lock(part, "base", part.costume.subject.series.read("Y"), issues[3].position, None)
    assert rows(found) == [("4", 3, 1), ("5", 3, 1)]


@pytest.mark.parametrize("code", ["Y", "YR", "B", "YRB2", "W"])
@pytest.mark.parametrize(("first", "last"), [(0, None), (2, None), (1, 3)])
@pytest.mark.parametrize("role", ["base", "shade"])
def test_counting_equals_rehearsing_a_lock(
    series: Series, part: Any, issues: list[Any], lead: Any, code: str, first: int, last: int | None, role: str
) -> None:
    start, end = issues[first].position, issues[last].position if last else None
    tint = series.read(code)
    shown = impact.of_lock(part, role, tint, start, end)

    def deed() -> None:
        lock_tint(
            part=part, role=role, tint=tint, written=code, from_position=start, to_position=end, by=lead, reason="so"
        )

    assert shown == impact.rehearse(series, deed)
    before = Mark.objects.filter(series=series).open().count()
    deed()
    assert Mark.objects.filter(series=series).open().count() == before + shown.opens - shown.closes


def test_counting_equals_rehearsing_a_rule_an_end_and_a_correction(
    series: Series, part: Any, issues: list[Any], lead: Any
) -> None:
    middle = issues[2].position
    down = Shift((Step(Op.DOWN, "m", 1),))

    def rule() -> None:
        lock_rule(part=part, role="shade", rule=down, from_position=middle, by=lead)

    assert impact.of_rule(part, "shade", down, middle, None) == impact.rehearse(series, rule)
    base = part.locks.standing().get(role="base")

    def end() -> None:
        end_lock(lock=base, at_position=middle, by=lead, reason="over")

    assert impact.of_end(base, middle) == impact.rehearse(series, end)
    assert impact.of_end(base, middle).opens > 0
    base.refresh_from_db()

    def correct() -> None:
        correct_lock(lock=base, tint=series.read("Y"), written="Y", by=lead, reason="misread")

    assert impact.of_correction(base, series.read("Y")) == impact.rehearse(series, correct)


def test_a_rule_where_the_base_has_gaps(series: Series, part: Any, issues: list[Any], lead: Any) -> None:
    base = part.locks.standing().get(role="base")
    end_lock(lock=base, at_position=issues[1].position, by=lead, reason="over")
    make_lock(part, "B", from_position=issues[3].position)
    make_lock(part, "Y", role="shade")
    rule = Shift((Step(Op.ADD, "m", 25),))

    def deed() -> None:
        lock_rule(part=part, role="shade", rule=rule, from_position=0, by=lead)

    assert impact.of_rule(part, "shade", rule, 0, None) == impact.rehearse(series, deed)


def test_a_rehearsal_leaves_nothing_behind(series: Series, part: Any, issues: list[Any]) -> None:
    make_lock(part, "Y", from_position=issues[2].position)
    before = list(Mark.objects.order_by("pk").values())
    shown = impact.rehearse(series, lambda: move_issue(issue=Issue.objects.get(pk=issues[0].pk), after=issues[4]))
    assert rows(shown) == [("1", 3, 1)]
    assert list(Mark.objects.order_by("pk").values()) == before
    assert Issue.objects.get(pk=issues[0].pk).position == issues[0].position


def test_signed_off_issues_are_set_apart(series: Series, part: Any, issues: list[Any]) -> None:
    Issue.objects.filter(pk=issues[0].pk).update(signed_off_at=timezone.now())
    found = impact.of_lock(part, "base", series.read("W"), 0, None)
    assert [row.issue.number for row in found.signed_off] == ["1"]
    assert [row.issue.number for row in found.in_work] == ["2", "3", "4", "5"]


def test_the_token_changes_with_what_is_shown(series: Series, part: Any, issues: list[Any]) -> None:
    def token() -> str:
        return impact.of_lock(part, "base", series.read("W"), 0, None).token

    first = token()
    assert token() == first
    make_mark(make_guide(issues[0]), "YR", part=part)
    assert token() != first


def test_flags_of_marks_that_the_deed_itself_makes_are_counted(series: Any, lead: Any) -> None:
    part, guide = make_part(series), make_guide(make_issues(series, 1)[0], by=lead)
    make_lock(part, "Y2", by=lead)
    found = impact.rehearse(series, lambda: make_mark(guide, "YR3B2", part=part))
    assert (found.opens, found.closes) == (1, 0)
    assert not Mark.objects.exists()
