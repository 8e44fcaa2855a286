"""What scenes, locks and pages that stand down leave behind: rows, flags and sign-offs."""

from __future__ import annotations

from typing import Any

import pytest

from bible.colour.shifts import Op, Shift, Step
from bible.locks.services import end_lock
from bible.models import Activity, ActivityKind, Scene, Series, Within
from bible.models.stretches import Stretch
from bible.scenes.services import set_scene
from bible.series.refusals import Refused
from bible.subjects.wearing import set_worn
from guides.core import impact
from guides.core.scene_areas import (
    WHOLE_PAGE,
    Region,
    apply_scene,
    boxes_of,
    flags_token,
    holds_there,
    outlined,
    remove_scene,
)  # fmt: skip
from guides.core.services import (
    NewMark,
    place_marks,
)  # fmt: skip
from guides.core.waivers import waive
from guides.models import Guide, IssueStep, Mark, SceneArea
from tests.factories import (
    make_guide,
    make_issue,
    make_issues,
    make_lock,
    make_mark,
    make_part,
)  # fmt: skip
from tests.guides.core.signed_pages import bring, reopened, signed

pytestmark = pytest.mark.django_db


LINE = ((0.1, 0.1), (0.4, 0.1), (0.4, 0.3))


@pytest.fixture
def night(series: Series, lead: Any) -> Scene:
    return set_scene(scene=Scene(series=series, name="Night"), rule=Shift((Step(Op.ADD, "c", 25),)), by=lead)


@pytest.mark.parametrize(
    ("edges", "fits"),
    [((0, 0, 1, 1), True), ((0, 0, 0.01, 0.01), True), ((0.99, 0.99, 1, 1), True), ((0.5, 0, 0.5, 1), False),
     ((0, 0.5, 1, 0.5), False), ((0.6, 0, 0.5, 1), False), ((0, 0.6, 1, 0.5), False), ((-0.01, 0, 1, 1), False),
     ((0, -0.01, 1, 1), False), ((0, 0, 1.01, 1), False), ((0, 0, 1, 1.01), False)],
)  # fmt: skip
def test_a_region_lies_on_its_page(guide: Guide, night: Scene, lead: Any, edges: Any, fits: bool) -> None:
    if not fits:
        with pytest.raises(Refused, match="must lie on the page"):
            apply_scene(guide=guide, scene=night, region=Region(*edges), by=lead)
        return
    area = apply_scene(guide=guide, scene=night, region=Region(*edges), by=lead)
    assert Region.of(SceneArea.objects.get(pk=area.pk)) == Region(*edges)
    assert (area.left, area.top, area.right, area.bottom, area.outline, area.outline_size) == (*edges, None, None)


def test_a_scene_holds_once_in_a_region_until_it_is_taken_away(
    guide: Guide, night: Scene, lead: Any, fill_in: Any
) -> None:
    fog = set_scene(scene=Scene(series=guide.series, name="Fog"), rule=Shift((Step(Op.ADD, "k", 0),)), by=lead)
    part = make_part(guide.series)
    make_lock(part, "YR", by=lead)
    mark = make_mark(guide, "YR", part=part, x=0.3, y=0.15)
    regions = [(WHOLE_PAGE, "the page"), (Region(0, 0, 0.5, 0.5), "a panel"), (outlined([list(LINE)]), "an area")]
    for region, where in regions:
        signed(guide.issue)
        IssueStep.objects.all().delete()
        assert not holds_there(guide, night, region.columns)
        area = apply_scene(guide=guide, scene=night, region=region, by=lead)
        assert holds_there(guide, night, region.columns)
        assert not holds_there(guide, fog, region.columns)
        assert not holds_there(make_guide(guide.issue), night, region.columns)
        with pytest.raises(Refused, match="Night holds there already"):
            apply_scene(guide=guide, scene=night, region=region, by=lead)
        assert (area.applied_by, area.series, reopened(guide.issue)) == (
            lead,
            guide.series,
            "scene Night applied to page 7",
        )
        mark.refresh_from_db()
        assert (mark.scene, mark.expected) == (night, guide.series.read("C25 M100 Y100"))
        signed(guide.issue)
        IssueStep.objects.all().delete()
        gone = remove_scene(area=area, by=fill_in)
        assert (gone.removed_by, bool(gone.removed_at), reopened(guide.issue)) == (fill_in, True, "scene Night taken off page 7")  # fmt: skip
        with pytest.raises(Refused, match="has taken this scene away already"):
            remove_scene(area=area, by=fill_in)
        mark.refresh_from_db()
        assert (mark.scene, mark.expected) == (None, guide.series.read("YR"))
        assert not holds_there(guide, night, region.columns)
        kinds = (ActivityKind.SCENE_APPLIED, ActivityKind.SCENE_REMOVED)
        told = Activity.objects.filter(kind__in=kinds).order_by("-pk")[:2]
        said = {"name": "Night", "where": where}
        assert [(one.kind, one.by, one.page, one.scene, one.words) for one in told] == [
            (kinds[1], fill_in, "7", night, said), (kinds[0], lead, "7", night, said),
        ]  # fmt: skip


def test_an_outline_and_its_box_are_two_regions(guide: Guide, night: Scene, lead: Any) -> None:
    region = outlined([list(LINE)])
    assert (region.left, region.top, region.right, region.bottom) == (0.1, 0.1, 0.4, 0.3)
    area = apply_scene(guide=guide, scene=night, region=region, by=lead)
    assert Region.of(SceneArea.objects.get(pk=area.pk)) == region
    assert area.outline_size == pytest.approx(0.03)
    assert not holds_there(guide, night, Region(0.1, 0.1, 0.4, 0.3).columns)
    box = apply_scene(guide=guide, scene=night, region=Region(0.1, 0.1, 0.4, 0.3), by=lead)
    first, second = boxes_of(guide, [area, box])
    assert (first.x, first.y, first.width, first.height) == pytest.approx((40, 60, 120, 120))
    assert (first.area, second.area, bool(first.path), second.path) == (area, box, True, "")
    assert boxes_of(guide, []) == []


def test_flags_are_told_apart_by_all_they_say(guide: Guide, lead: Any) -> None:
    part = make_part(guide.series)
    marks = [make_mark(guide, "Y", part=part), make_mark(guide, "R", part=part)]
    token = flags_token(marks)
    assert flags_token(marks[::-1]) == token != flags_token(marks[:1])
    other = make_part(guide.series).pk
    Y = guide.series.read("B")
    for name, value in (("part_id", other), ("role", "shade"), ("written", "y"), ("tint", Y), ("to_tint", Y), ("expected", Y), ("expected_to", Y)):  # fmt: skip
        before = getattr(marks[0], name)
        setattr(marks[0], name, value)
        assert flags_token(marks) != token, name
        setattr(marks[0], name, before)


def test_an_impact_adds_up_and_sorts_what_is_signed(series: Series) -> None:
    first, second, third = make_issues(series, 3)
    signed(second)
    second.refresh_from_db()
    found = impact.impact_of({third: (1, 0, False), second: (2, 3, True), first: (0, 4, False, True)})
    assert [row.issue for row in found.rows] == [first, second, third]
    assert (found.opens, found.closes, bool(found)) == (3, 7, True)
    assert ([row.issue for row in found.signed_off], found.reopened, found.stand_again) == (
        [second],
        [second],
        [first],
    )
    assert [row.issue for row in found.in_work] == [first, third]
    nothing = impact.impact_of({})
    assert (bool(nothing), nothing.rows, nothing.opens) == (False, (), 0)
    others = ((1, 1, False), (2, 0, False), (1, 0, True), (1, 0, False, True))
    tokens = {impact.impact_of({third: said}).token for said in others} | {impact.impact_of({first: (1, 1, False)}).token}  # fmt: skip
    assert len(tokens) == 5


def test_a_lock_reaches_only_its_part_its_role_and_its_issues(series: Series, lead: Any) -> None:
    first, second, third = make_issues(series, 3)
    part, other = make_part(series), make_part(series)
    lock = make_lock(part, "YR", by=lead)
    for issue in (first, second, third):
        for one, role in ((part, "base"), (part, "shade"), (other, "base")):
            make_mark(make_guide(issue), "YR", part=one, role=role)
    signed(second)
    tint = series.read("Y")

    def said(found: impact.Impact) -> list[tuple[str, int, int, bool]]:
        return [(row.issue.number, row.opens, row.closes, row.reopens) for row in found.rows]

    assert said(impact.of_lock(part, "base", tint, second.position, third.position)) == [("2", 1, 0, True)]
    assert said(impact.of_lock(part, "base", tint, third.position, None)) == [("3", 1, 0, False)]
    assert said(impact.of_lock(part, "shade", series.read("YR"), 0, None)) == [("1", 0, 1, False), ("2", 0, 1, True), ("3", 0, 1, False)]  # fmt: skip
    assert said(impact.of_lock(part, "base", series.read("YR"), 0, None)) == []
    assert said(impact.of_end(lock, second.position)) == [("2", 1, 0, True), ("3", 1, 0, False)]
    assert len(said(impact.of_end(lock, 0))) == 3
    make_lock(part, "YR", by=lead, from_position=third.position)
    lock = part.locks.standing().order_by("from_position")[0]
    assert said(impact.of_end(lock, third.position)) == []
    assert said(impact.of_end(lock, second.position)) == [("2", 1, 0, True)]
    assert said(impact.of_correction(lock, tint)) == [("1", 1, 0, False), ("2", 1, 0, True)]


def test_a_decision_leaves_alone_what_is_out_of_use_or_owes_nothing_anyway(series: Series, lead: Any) -> None:
    first, second, third = make_issues(series, 3)
    part, rule = make_part(series), Shift((Step(Op.ADD, "c", 25),))
    for issue, to_written in ((first, "Y"), (second, ""), (third, "")):
        make_mark(make_guide(issue), "YR", part=part, role="shade", to_written=to_written)
    make_lock(part, "YR", by=lead, from_position=second.position)
    set_worn(costume=part.costume, worn=[Stretch(0, third.position)])
    waive(marks=Mark.objects.filter(position=third.position), reason="so", by=lead)
    for issue in (first, third):
        signed(issue)
    found = impact.of_rule(part, "shade", rule, 0, None)
    assert [(row.issue, row.opens, row.closes, row.reopens) for row in found.rows] == []
    (row,) = impact.of_rule(part, "shade", Shift((Step(Op.ADD, "c", 0),)), 0, None).rows
    assert (row.issue, row.closes) == (second, 1)


def test_a_rule_leaves_nothing_locked_where_its_base_has_ended(series: Series, lead: Any) -> None:
    *_, last = issues = make_issues(series, 3)
    part = make_part(series)
    make_lock(part, "YR", by=lead, to_position=last.position)
    make_lock(part, "B", by=lead, role="shade")
    for issue in issues:
        make_mark(make_guide(issue), "B", part=part, role="shade")
    found = impact.of_rule(part, "shade", Shift((Step(Op.ADD, "c", 25),)), 0, None)
    assert [(row.issue, row.opens, row.closes) for row in found.rows] == [(issue, 1, 0) for issue in issues]


def test_a_background_owes_what_most_of_it_says_once_its_lock_has_ended(series: Series, lead: Any) -> None:
    wall, guide = make_part(series, held_within=Within.ISSUE), make_guide(make_issue(series))
    lock = make_lock(wall, "B", by=lead)
    for written, to_written in (("Y", "R"), ("Y", "R"), ("B", "")):
        make_mark(guide, written, part=wall, to_written=to_written)
    (row,) = impact.of_end(lock, 0).rows
    assert (row.opens, row.closes) == (1, 2)
    end_lock(lock=lock, at_position=0, by=lead, reason="so")
    assert [mark.written for mark in Mark.objects.open()] == ["B"]


def test_a_background_is_what_is_left_of_it_once_a_page_stands_down(series: Series, lead: Any) -> None:
    wall, issue = make_part(series, held_within=Within.ISSUE), make_issue(series)
    first, second = (make_guide(issue, page=page, by=lead) for page in ("7", "8"))
    make_mark(first, "Y", part=wall)
    mark = make_mark(second, "B", part=wall)
    assert list(Mark.objects.open()) == [mark]
    bring(issue, lead)
    assert not Mark.objects.open()
    with pytest.raises(Refused, match="A newer revision"):
        place_marks(guide=first, by=lead, rows=[NewMark(0.1, 0.1, "Y")])
