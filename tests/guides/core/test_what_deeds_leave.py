"""What each deed on a page leaves behind, and what bars it: rows, versions, words of the record, people, bounds."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from bible.colour.shifts import Op, Shift, Step
from bible.locks.services import end_lock
from bible.models import Activity, ActivityKind, Issue, Scene, Series, Within
from bible.models.fields import NoTint
from bible.models.stretches import Stretch
from bible.scenes.services import set_scene
from bible.series.refusals import Refused
from bible.subjects.wearing import set_worn
from guides.assignments.services import OthersPages, give_pages
from guides.core import impact
from guides.core.once import state_of
from guides.core.rules import StaleMark
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
    PageTaken,
    add_guide,
    checked_label,
    delete_mark,
    move_mark,
    next_revision,
    place_marks,
    point_mark,
    put_back,
    restore_mark,
    rewrite_mark,
    say_colourist,
)  # fmt: skip
from guides.core.waivers import waive
from guides.imaging.intake.take_in import take_in
from guides.models import PAGE_LABEL_LENGTH, Guide, IssueStep, Mark, SceneArea
from tests.factories import (
    make_guide,
    make_issue,
    make_issues,
    make_lock,
    make_mark,
    make_member,
    make_part,
    make_revision,
    picture_bytes,
)  # fmt: skip

pytestmark = pytest.mark.django_db

LINE = ((0.1, 0.1), (0.4, 0.1), (0.4, 0.3))


def signed(issue: Issue) -> None:
    Issue.objects.filter(pk=issue.pk).update(signed_off_at=timezone.now(), in_check_at=timezone.now())


def reopened(issue: Issue) -> str:
    return issue.steps.get(kind="reopened").words


@pytest.fixture
def guide(series: Series, lead: Any) -> Guide:
    return make_guide(make_issue(series), page="7", by=lead)


@pytest.fixture
def fade(guide: Guide) -> Mark:
    """A gradient that was let in and that nobody has looked at."""
    part = make_part(guide.series)
    (mark,) = place_marks(
        guide=guide,
        by=guide.uploaded_by,
        rows=[NewMark(0.2, 0.2, "YR", part, "shade", to=(0.3, 0.5), to_written="Y2", let_in=True)],
    )
    return mark


DEEDS: dict[str, Callable[[Mark, Any, int | None], Any]] = {
    "moved": lambda mark, by, seen: move_mark(mark=mark, x=0.6, y=0.7, by=by, seen=seen),
    "pointed elsewhere": lambda mark, by, seen: point_mark(mark=mark, x=0.9, y=0.1, by=by, seen=seen),
    "rewritten": lambda mark, by, seen: rewrite_mark(
        mark=mark, written="B", part=mark.part, role="base", to_written="W", by=by, seen=seen
    ),
    "taken off": lambda mark, by, seen: delete_mark(mark=mark, by=by, seen=seen),
    "put back as it was": lambda mark, by, seen: put_back(
        mark=mark,
        state=state_of(mark) | {"written": "R", "x": 0.9},
        by=by,
        seen=mark.version if seen is None else seen,
    ),
    "brought back": lambda mark, by, seen: restore_mark(mark=mark, by=by),
}
LEFT: dict[str, dict[str, Any]] = {
    "moved": {"x": 0.6, "y": 0.7, "to_x": pytest.approx(0.7), "to_y": pytest.approx(1.0)},
    "pointed elsewhere": {"x": 0.2, "y": 0.2, "to_x": 0.9, "to_y": 0.1},
    "rewritten": {"written": "B", "role": "base", "to_written": "W", "to_x": 0.3, "to_y": 0.5},
    "taken off": {"live": False, "written": "YR"},
    "put back as it was": {
        "written": "R",
        "x": 0.9,
        "y": 0.2,
        "to_x": 0.3,
        "to_y": 0.5,
        "live": True,
        "role": "shade",
    },
    "brought back": {"live": True, "deleted_at": None},
}


@pytest.mark.parametrize("what", DEEDS)
def test_a_deed_on_a_mark_and_what_bars_it(fade: Mark, fill_in: Any, what: str) -> None:
    guide, issue = fade.guide, fade.guide.issue
    if what == "brought back":
        Mark.objects.filter(pk=fade.pk).update(deleted_at=timezone.now(), live=False)
    before = Mark.objects.filter(pk=fade.pk).values()[0]
    Issue.objects.filter(pk=issue.pk).update(archived_at=timezone.now())
    with pytest.raises(Refused, match=f"Issue {issue.number} is archived"):
        DEEDS[what](fade, fill_in, None)
    Issue.objects.filter(pk=issue.pk).update(archived_at=None)
    if what != "brought back":
        with pytest.raises(StaleMark):
            DEEDS[what](fade, fill_in, 7)
    assert Mark.objects.filter(pk=fade.pk).values()[0] == before
    signed(issue)
    told = DEEDS[what](fade, fill_in, None)
    mark = Mark.objects.get(pk=fade.pk)
    assert (mark.version, mark.changed_by, mark.let_in, mark.created_by) == (2, fill_in, False, guide.uploaded_by)
    for name, value in LEFT[what].items():
        assert getattr(mark, name) == getattr(told, name) == value, name
    assert bool(mark.deleted_at) is (what == "taken off")
    assert mark.tint == guide.series.read(mark.written)
    assert reopened(issue) == f"mark 1 {what} on page 7"
    kinds = {"rewritten": [ActivityKind.REWROTE], "taken off": [ActivityKind.UNMARKED]}.get(what, [])
    assert list(Activity.objects.filter(by=fill_in, kind__in=[ActivityKind.REWROTE, ActivityKind.UNMARKED]).values_list("kind", flat=True)) == kinds  # fmt: skip
    make_revision(guide)
    fixed = what in ("moved", "pointed elsewhere", "rewritten", "taken off")
    signed(issue)
    IssueStep.objects.all().delete()
    if fixed:
        with pytest.raises(Refused, match="A newer revision"):
            DEEDS[what](mark, fill_in, None)
    else:
        assert DEEDS[what](mark, fill_in, None).live is False
    assert not IssueStep.objects.exists(), "an older revision counts no more"


@pytest.mark.parametrize("what", ["moved", "pointed elsewhere", "rewritten"])
def test_a_deleted_mark_is_brought_back_first(fade: Mark, lead: Any, what: str) -> None:
    delete_mark(mark=fade, by=lead)
    with pytest.raises(Refused, match="Mark 1 was deleted meanwhile; bring it back first"):
        DEEDS[what](fade, lead, None)


def test_an_arrow_belongs_to_a_gradient(guide: Guide, lead: Any) -> None:
    flat = make_mark(guide, "Y", x=0.5, y=0.97, by=lead)
    with pytest.raises(Refused, match="Mark 1 is no gradient any more; it has no arrow to turn"):
        point_mark(mark=flat, x=0.1, y=0.1, by=lead)
    faded = rewrite_mark(mark=flat, written="Y", part=None, role="base", to_written="scrawl", by=lead)
    assert (faded.to_tint, faded.to_x, faded.to_y) == (NoTint.UNREADABLE, 0.5, pytest.approx(0.91))
    again = rewrite_mark(mark=faded, written="Y", part=None, role="base", to_written="Y2", to=(0.6, 0.1), by=lead)
    assert (again.to_x, again.to_y) == (0.6, 0.1)
    flat = rewrite_mark(mark=again, written="Y", part=None, role="base", by=lead)
    assert (flat.to_written, flat.to_tint, flat.to_x, flat.to_y) == ("", None, None, None)


def test_nothing_to_place_leaves_nothing(guide: Guide, lead: Any) -> None:
    signed(guide.issue)
    assert place_marks(guide=guide, by=lead, rows=[]) == []
    assert guide.issue.steps.count() == Activity.objects.count() == 0


def test_several_marks_are_one_deed_and_numbers_go_on(guide: Guide, lead: Any) -> None:
    rows = [NewMark(0.1, 0.1, "Y", number=5), NewMark(0.2, 0.1, "Y"), NewMark(0.3, 0.1, "Y", let_in=True)]
    signed(guide.issue)
    made = place_marks(guide=guide, by=lead, rows=rows)
    assert [mark.number for mark in made] == [5, 1, 2]
    assert [mark.let_in for mark in made] == [False, False, True]
    assert reopened(guide.issue) == "3 placed on page 7"
    told = Activity.objects.get(kind=ActivityKind.MARKED)
    assert (told.count, told.by, told.page, told.issue) == (3, lead, "7", guide.issue)
    stored = made[0]
    assert (stored.position, stored.page_order) == (guide.issue.position, guide.page_order)
    assert (stored.created_by, stored.changed_by, stored.version, stored.role) == (lead, lead, 1, "base")
    assert make_mark(guide, "Y").number == 6
    signed(guide.issue)
    place_marks(guide=guide, by=lead, rows=rows[1:])
    assert guide.issue.steps.latest("pk").words == "2 placed on page 7"
    with pytest.raises(IntegrityError), transaction.atomic():
        place_marks(guide=guide, by=lead, rows=[NewMark(0.1, 0.1, "Y", make_part(guide.series), number=5)])
    Issue.objects.filter(pk=guide.issue_id).update(archived_at=timezone.now())
    with pytest.raises(Refused, match="is archived"):
        place_marks(guide=guide, by=lead, rows=rows[1:])
    assert guide.marks.count() == 6


# --- pages ----------------------------------------------------------------------------------------------------------


def bring(issue: Issue, by: Any, page: str = "7", **more: Any) -> Guide:
    data = io.BytesIO(picture_bytes(120, 180))
    said: dict[str, Any] = {"picture": take_in(data, "p.jpg"), "original": data, "filename": "a/b/p.jpg", "by": by}
    return add_guide(issue=issue, page=page, **said | more)


@pytest.mark.parametrize(("page", "label"), [("7", "7"), (" p. 07 ", "7"), ("x" * PAGE_LABEL_LENGTH, "x" * PAGE_LABEL_LENGTH)])  # fmt: skip
def test_labels_that_are_taken(page: str, label: str) -> None:
    assert checked_label(page) == label


@pytest.mark.parametrize("page", ["", " ", "x" * (PAGE_LABEL_LENGTH + 1)])
def test_labels_that_are_not(page: str) -> None:
    with pytest.raises(Refused, match=f"say which page it is, in at most {PAGE_LABEL_LENGTH} letters"):
        checked_label(page)


def test_a_page_that_comes_in_and_comes_in_again(series: Series, lead: Any, fill_in: Any) -> None:
    issue = make_issue(series)
    assert next_revision(issue, "7") == 1
    first = bring(issue, lead, filename="x/" + "y" * 250 + ".jpg", colourist=fill_in, revision=1)
    assert (first.revision, first.page, first.is_current, first.uploaded_by) == (1, "7", True, lead)
    assert (len(first.filename), first.filename[-5:], first.page_order) == (200, "y.jpg", make_guide(issue, page="7", revision=0, is_current=False).page_order)  # fmt: skip
    assert (first.width, first.height, len(first.sha256), first.byte_size > 0) == (120, 180, 64, True)
    assert next_revision(issue, "7") == 2
    assert next_revision(issue, "8") == next_revision(make_issue(series), "7") == 1
    mark = make_mark(first, "Y")
    signed(issue)
    with pytest.raises(
        PageTaken, match="lead brought another scan of page 7 in meanwhile; this one would be revision 2"
    ):
        bring(issue, fill_in, revision=1)
    with pytest.raises(PageTaken, match="The page is not here; this one would be revision 1"):
        bring(issue, fill_in, page="9", revision=2)
    assert Guide.objects.current().get(issue=issue) == first
    second = bring(issue, lead, revision=2)
    assert reopened(issue) == "a guide of page 7 came in"
    mark.refresh_from_db()
    first.refresh_from_db()
    assert (second.revision, second.colourist, first.is_current, mark.live) == (2, fill_in, False, False)
    told = Activity.objects.filter(by=lead, kind__in=[ActivityKind.UPLOADED, ActivityKind.REVISED]).order_by("pk")
    assert [(one.kind, one.page, one.issue, one.person) for one in told] == [
        (ActivityKind.UPLOADED, "7", issue, fill_in), (ActivityKind.REVISED, "7", issue, fill_in),
    ]  # fmt: skip
    Issue.objects.filter(pk=issue.pk).update(archived_at=timezone.now())
    with pytest.raises(Refused, match="is archived"):
        bring(issue, lead)
    assert Guide.objects.current().get(issue=issue) == second


def test_whose_a_page_is_where_nobody_says(series: Series, lead: Any, fill_in: Any) -> None:
    issue, other = make_issue(series), make_member(series, "fill-in")
    give_pages(issue=issue, pages=["7"], colourist=fill_in, by=lead)
    assert bring(issue, lead).colourist == fill_in, "to whom it was given"
    with pytest.raises(OthersPages) as others:
        give_pages(issue=issue, pages=["7"], colourist=other, by=lead)
    give_pages(issue=issue, pages=["7"], colourist=other, by=lead, seen=others.value.seen)
    assert bring(issue, lead).colourist == other, "given to somebody else since"
    say_colourist(guide=Guide.objects.current().get(), colourist=lead, by=lead)
    assert bring(issue, fill_in).colourist == lead, "given before the last scan came in"
    assert bring(issue, fill_in, colourist=other).colourist == other
    say_colourist(guide=Guide.objects.current().get(), colourist=None, by=lead)
    assert bring(issue, fill_in).colourist == other, "nobody is named: it is whose it was given to"


def test_saying_who_coloured_a_page(guide: Guide, lead: Any, fill_in: Any) -> None:
    say_colourist(guide=guide, colourist=fill_in, by=lead)
    guide.refresh_from_db()
    told = Activity.objects.get()
    assert (guide.colourist, told.kind, told.person, told.page, told.by) == (fill_in, ActivityKind.CHANGED, fill_in, "7", lead)  # fmt: skip
    newer = make_revision(guide)
    with pytest.raises(Refused, match="A newer revision"):
        say_colourist(guide=guide, colourist=None, by=lead)
    Issue.objects.filter(pk=guide.issue_id).update(archived_at=timezone.now())
    with pytest.raises(Refused, match="is archived"):
        say_colourist(guide=newer, colourist=None, by=lead)


# --- scenes on pages ------------------------------------------------------------------------------------------------


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


# --- impact ---------------------------------------------------------------------------------------------------------


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
