"""What each deed on a page leaves behind, and what bars it: rows, versions, words of the record, people, bounds."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from bible.models import Activity, ActivityKind, Issue, Series
from bible.models.fields import NoTint
from bible.series.refusals import Refused
from guides.assignments.services import OthersPages, give_pages
from guides.core.once import state_of
from guides.core.rules import StaleMark
from guides.core.services import (
    NewMark,
    PageTaken,
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
from guides.models import PAGE_LABEL_LENGTH, Guide, IssueStep, Mark
from tests.factories import (
    make_guide,
    make_issue,
    make_mark,
    make_member,
    make_part,
    make_revision,
)  # fmt: skip
from tests.guides.core.signed_pages import bring, reopened, signed

pytestmark = pytest.mark.django_db


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
