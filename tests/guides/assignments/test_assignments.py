"""Who does which page by when: given, changed, taken back, seen, refused."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from bible.models import Activity, Issue, Membership, Series
from bible.people.services import remove_member
from bible.series.refusals import Refused
from guides.assignments.labels import pages_in_words, read_pages
from guides.assignments.queries import by_person, pages_of, waiting
from guides.assignments.services import OthersPages, change_assignments, give_pages, unassign_pages
from guides.issues.queries import today
from guides.models import Assignment, Guide
from tests.factories import make_guide, make_issue, make_lock, make_mark, make_member, make_part, make_series
from tests.forms import form_of, link_of, text_of
from tests.pages import client_of, member_client, methods_are_refused

pytestmark = pytest.mark.django_db

YESTERDAY = dt.timedelta(days=-1)


def day(days: int) -> dt.date:
    return timezone.localdate() + dt.timedelta(days=days)


def give(issue: Issue, to: Any, pages: str = "1-3", **overrides: Any) -> list[Assignment]:
    lead = overrides.pop("by", None) or issue.series.memberships.leads()[0].user
    return give_pages(**({"issue": issue, "pages": read_pages(pages), "colourist": to, "by": lead} | overrides))


@pytest.fixture
def issue(series: Series, lead: Any) -> Issue:
    return make_issue(series)


@pytest.mark.parametrize(
    ("text", "pages"),
    [
        ("1-3", ["1", "2", "3"]),
        ("cover, 3,14a ; pp. 1–2", ["cover", "1", "2", "3", "14a"]),
        ("7, page 7, p. 07", ["7"]),
        ("Back, 5 to 6", ["5", "6", "back"]),
        (" , ", []),
    ],
)
def test_pages_as_they_are_typed(text: str, pages: list[str]) -> None:
    assert read_pages(text) == pages


@pytest.mark.parametrize("text", ["3-1", "1-5000", "x" * 31, "1-150, 200-300"])
def test_pages_that_are_a_slip(text: str) -> None:
    with pytest.raises(Refused):
        read_pages(text)


def test_pages_beyond_the_last_one() -> None:
    assert read_pages("20-22, cover", last=22) == ["cover", "20", "21", "22"]
    with pytest.raises(Refused, match="22 numbered pages"):
        read_pages("20-24", last=22)


def test_pages_in_words() -> None:
    assert pages_in_words(["14a", "3", "cover", "1", "2", "back", "14"]) == "cover, 1-3, 14, 14a, back"


def test_given_many_at_once_from_the_issues_page(
    series: Series, issue: Issue, lead_client: Client, fill_in: Any
) -> None:
    page = lead_client.get(issue.get_absolute_url())
    answer = lead_client.get(link_of(page, "Who does what"))
    said = {"pages": "1-3, cover", "colourist": str(fill_in.pk), "due": day(3).isoformat(), "note": "lamplight"}
    sent = form_of(answer, has="pages").fill(**said).press(lead_client, follow=True)
    assert "4 pages given to" in text_of(sent)
    rows = Assignment.objects.filter(issue=issue).in_order()
    assert [(one.page, one.colourist, one.due, one.note) for one in rows] == [
        (page, fill_in, day(3), "lamplight") for page in ("cover", "1", "2", "3")
    ]
    deed = Activity.objects.get(room="given")
    assert (deed.kind, deed.person, deed.count, deed.words["pages"]) == ("pages-given", fill_in, 4, "cover, 1-3")
    told = text_of(lead_client.get(reverse("activity", args=[series.slug])))
    assert "gave pages cover, 1-3 of issue 1 to" in " ".join(told.split())


def test_pages_change_hands_only_where_that_was_seen(issue: Issue, lead_client: Client, fill_in: Any) -> None:
    other = make_member(issue.series, "fill-in")
    give(issue, fill_in, "2-3")
    address = reverse("issue-assignments", args=[issue.series.slug, issue.pk])
    form = form_of(lead_client.get(address), has="pages").fill(pages="1-3", colourist=str(other.pk))
    asked = form.press(lead_client)
    assert asked.status_code == 422
    assert "2, 3 are with" in text_of(asked)
    assert Assignment.objects.filter(colourist=other).count() == 0
    assert form_of(asked, has="pages").press(lead_client).status_code == 302
    assert Assignment.objects.filter(colourist=other).count() == 3
    lost = Activity.objects.get(kind="pages-back")
    assert (lost.person, lost.words["pages"]) == (fill_in, "2, 3")


def test_a_yes_to_something_else_changes_nothing(issue: Issue, lead: Any, fill_in: Any) -> None:
    other, third = make_member(issue.series, "fill-in"), make_member(issue.series, "fill-in")
    give(issue, fill_in, "2")
    with pytest.raises(OthersPages) as first:
        give(issue, other, "1-3")
    give(issue, third, "3")
    with pytest.raises(OthersPages):
        give(issue, other, "1-3", seen=first.value.seen)


def test_changed_and_taken_back_on_the_page(issue: Issue, lead_client: Client, fill_in: Any) -> None:
    other = make_member(issue.series, "fill-in")
    give(issue, fill_in)
    address = reverse("issue-assignments", args=[issue.series.slug, issue.pk])
    keys = [str(row.pk) for row in Assignment.objects.in_order()]
    form = form_of(lead_client.get(address), has="chosen")
    sent = form.fill(chosen=keys[:2], colourist=str(other.pk), due=day(9).isoformat())
    assert sent.press(lead_client, "Change the chosen pages").status_code == 302
    assert list(Assignment.objects.filter(colourist=other, due=day(9)).values_list("page", flat=True)) == ["1", "2"]
    back = form_of(lead_client.get(address), has="chosen").fill(chosen=keys[1:])
    assert back.press(lead_client, "Take them back").status_code == 302
    assert Assignment.objects.get().page == "1"
    kinds = Activity.objects.filter(room="given").order_by("id").values_list("kind", flat=True)
    assert list(kinds) == ["pages-given", "pages-back", "pages-given", "pages-back", "pages-back"]


def test_a_day_is_taken_off(issue: Issue, lead: Any, fill_in: Any) -> None:
    give(issue, fill_in, "1", due=day(1))
    change_assignments(issue=issue, chosen=[Assignment.objects.get().pk], by=lead, no_date=True)
    assert Assignment.objects.get().due is None
    assert Activity.objects.filter(kind="pages-changed").count() == 1


def test_nothing_chosen_is_said(issue: Issue, lead_client: Client, fill_in: Any) -> None:
    give(issue, fill_in)
    for name in ("change-assignments", "unassign-pages"):
        answer = lead_client.post(reverse(name, args=[issue.series.slug, issue.pk]))
        assert answer.status_code == 422
        assert "Choose at least one page." in text_of(answer)
    chosen = str(Assignment.objects.in_order()[0].pk)
    answer = lead_client.post(reverse("change-assignments", args=[issue.series.slug, issue.pk]), {"chosen": chosen})
    assert "Say to whom, or by when." in text_of(answer)


def test_pages_of_another_issue_are_not_reached(issue: Issue, lead: Any, lead_client: Client, fill_in: Any) -> None:
    elsewhere = make_issue(issue.series)
    (row,) = give(elsewhere, fill_in, "1")
    with pytest.raises(Refused, match="meanwhile"):
        unassign_pages(issue=issue, chosen=[row.pk or 0, Assignment.objects.get().pk], by=lead)
    answer = lead_client.post(
        reverse("unassign-pages", args=[issue.series.slug, issue.pk]), {"chosen": str(Assignment.objects.get().pk)}
    )
    assert answer.status_code == 422
    beyond = lead_client.post(reverse("unassign-pages", args=[issue.series.slug, issue.pk]), {"chosen": str(2**70)})
    assert beyond.status_code == 422, "a number that no row can have"
    assert Assignment.objects.exists()


def test_who_may_not_mark_gets_no_pages(issue: Issue, lead: Any) -> None:
    for stranger in (make_member(issue.series, "editor"), make_member(make_series(), "lead")):
        with pytest.raises(Refused, match="does not colour"):
            give(issue, stranger, by=lead)


def test_a_page_is_given_under_one_label(issue: Issue, lead: Any, fill_in: Any) -> None:
    give(issue, fill_in, "2")
    for pages in (["2-3"], ["5", "4-5"]):
        with pytest.raises(Refused, match="same page"):
            give_pages(issue=issue, pages=pages, colourist=fill_in, by=lead)


@pytest.mark.parametrize("state", ["signed_off_at", "archived_at"])
def test_issues_that_are_done_give_no_pages(issue: Issue, lead: Any, fill_in: Any, state: str) -> None:
    Issue.objects.filter(pk=issue.pk).update(**{state: timezone.now()})
    with pytest.raises(Refused, match=r"signed off|archived"):
        give(issue, fill_in)


def test_what_is_late_waits_and_is_done(issue: Issue, lead: Any, fill_in: Any) -> None:
    give(issue, fill_in, "1-5", due=day(-2))
    part = make_part(issue.series)
    make_lock(part, "YR", by=lead)
    make_mark(make_guide(issue, page="1", by=lead), "YR", part=part)
    make_mark(make_guide(issue, page="2", by=lead), "YR3", part=part)
    make_guide(issue, page="3", by=lead)
    make_mark(make_guide(issue, page="4-5", by=lead), "YR", part=part)
    rows = waiting(issue.series)
    assert [(one.assignment.page, one.state, one.is_late, one.days_late) for one in rows] == [
        ("1", "done", False, 0),
        ("2", "1 flag", False, 0),
        ("3", "in, not marked", True, 2),
        ("4", "done", False, 0),
        ("5", "done", False, 0),
    ]
    (line,) = by_person(rows)
    assert (line.person, line.late, line.to_come, line.unmarked, line.flagged, line.done) == (fill_in, 1, 0, 1, 1, 3)


def test_a_page_is_not_late_on_its_day(issue: Issue, fill_in: Any) -> None:
    give(issue, fill_in, "1", due=day(0))
    give(issue, fill_in, "2")
    assert [one.is_late for one in waiting(issue.series)] == [False, False]


def test_pages_expected_stand_among_the_others(issue: Issue, lead: Any, fill_in: Any) -> None:
    issue.own_pages = 4
    give(issue, fill_in, "cover, 2")
    make_guide(issue, page="3-4", by=lead)
    guides = Guide.objects.filter(issue=issue).current().with_counts()
    assert [(row.label, bool(row.given), bool(row.guide)) for row in pages_of(issue, guides)] == [
        ("cover", True, False),
        ("1", False, False),
        ("2", True, False),
        ("3-4", False, True),
    ]


def test_pages_of_who_has_left_are_nobodys(issue: Issue, lead: Any, lead_client: Client, fill_in: Any) -> None:
    give(issue, fill_in, "1-2", due=day(-1))
    remove_member(membership=issue.series.memberships.get(user=fill_in), by=lead)
    (line,) = by_person(waiting(issue.series))
    assert (line.person, line.name, len(line.pages)) == (None, "nobody", 2)
    front = text_of(lead_client.get(reverse("series", args=[issue.series.slug])))
    assert "2 pages are nobody’s" in " ".join(front.split())
    listed = lead_client.get(reverse("assignments", args=[issue.series.slug]), {"who": "nobody"})
    assert len(listed.context["rows"]) == 2


def test_somebody_made_a_guest_has_no_pages(issue: Issue, fill_in: Any) -> None:
    give(issue, fill_in, "1")
    Membership.objects.filter(user=fill_in).update(role="guest")
    assert [one.is_held for one in waiting(issue.series)] == [False]


def test_today_shows_mine_first_and_late_ones_to_who_gives(issue: Issue, lead: Any, fill_in: Any) -> None:
    give(issue, fill_in, "1-2", due=day(5))
    give(issue, fill_in, "3", due=day(-3))
    own = today(issue.series.memberships.get(user=fill_in))
    assert [one.assignment.page for one in own.mine] == ["3", "1", "2"]
    theirs = today(issue.series.memberships.get(user=lead))
    assert ([one.assignment.page for one in theirs.late], theirs.mine) == (["3"], [])
    words = " ".join(text_of(client_of(fill_in).get(reverse("series", args=[issue.series.slug]))).split())
    assert "My pages given to me, and not done" in words
    assert "3 days late" in words


def test_the_filters_of_the_list(series: Series, issue: Issue, lead_client: Client, fill_in: Any) -> None:
    other = make_member(series, "fill-in")
    give(issue, fill_in, "1", due=day(-1))
    give(make_issue(series), other, "1-2")
    address = reverse("assignments", args=[series.slug])
    for asked, count in (
        ({}, 3),
        ({"what": "late"}, 1),
        ({"what": "done"}, 0),
        ({"what": "open", "who": str(other.pk)}, 2),
        ({"issues": "1"}, 1),
    ):
        assert len(lead_client.get(address, asked).context["rows"]) == count, asked
    for wrong in ({"issues": "none"}, {"what": "x"}, {"who": "999999"}):
        assert lead_client.get(address, wrong).status_code == 422


def test_an_upload_of_a_given_page_is_whose_it_was_given_to(issue: Issue, lead: Any, fill_in: Any) -> None:
    from tests.guides.core.scans import bring_page

    other = make_member(issue.series, "fill-in")
    give(issue, fill_in, "1-3")
    assert bring_page(issue, "1", by=lead).colourist == fill_in
    assert bring_page(issue, "2-3", by=lead).colourist == fill_in
    assert bring_page(issue, "4", by=lead).colourist == lead
    assert bring_page(issue, "1", by=lead, colourist=other).colourist == other
    assert bring_page(issue, "1", by=lead).colourist == other, "whose a page is, was said after it was given"
    change_assignments(issue=issue, chosen=[Assignment.objects.get(page="1").pk], by=lead, colourist=lead, due=day(1))
    assert bring_page(issue, "1", by=fill_in).colourist == lead, "given anew, it is not the last scan's any more"


def test_a_page_of_who_has_left_is_its_bringers(issue: Issue, lead: Any, fill_in: Any) -> None:
    from tests.guides.core.scans import bring_page

    give(issue, fill_in, "1")
    issue.series.memberships.filter(user=fill_in).delete()
    assert bring_page(issue, "1", by=lead).colourist == lead


@pytest.mark.parametrize("name", ["assignments", "issue-assignments", "to-read", "to-read-pdf"])
def test_who_may_look(series: Series, issue: Issue, name: str) -> None:
    address = reverse(name, args=[series.slug, *([] if name == "assignments" else [issue.pk])])
    for role in ("lead", "editor", "fill-in"):
        assert member_client(series, role).get(address).status_code == 200
    assert member_client(series, "guest").get(address).status_code == 403
    assert Client().get(address).status_code == 302
    assert member_client(make_series(), "lead").get(address).status_code == 404
    methods_are_refused(member_client(series, "lead"), address, "put", "delete")


@pytest.mark.parametrize("name", ["issue-assignments", "change-assignments", "unassign-pages"])
def test_who_may_give(series: Series, issue: Issue, name: str) -> None:
    address = reverse(name, args=[series.slug, issue.pk])
    for role in ("lead", "editor"):
        assert member_client(series, role).post(address).status_code == 422
    for role in ("fill-in", "guest"):
        assert member_client(series, role).post(address).status_code == 403
    assert Client().post(address).status_code == 302
    assert member_client(make_series(), "lead").post(address).status_code == 404
    gone = reverse(name, args=[series.slug, 10**9])
    assert member_client(series, "lead").post(gone).status_code == 404
    if name != "issue-assignments":
        methods_are_refused(member_client(series, "lead"), address, "get", "put")


def test_a_guest_hears_nothing_of_it(series: Series, issue: Issue, fill_in: Any) -> None:
    give(issue, fill_in)
    guest = member_client(series, "guest")
    assert "gave page" not in text_of(guest.get(reverse("activity", args=[series.slug])))
    assert "Who does what" not in text_of(guest.get(issue.get_absolute_url()))


@pytest.mark.parametrize("field", ["pages", "colourist"])
def test_the_form_wants_pages_and_somebody(issue: Issue, lead_client: Client, fill_in: Any, field: str) -> None:
    address = reverse("issue-assignments", args=[issue.series.slug, issue.pk])
    said = {"pages": "1-2", "colourist": str(fill_in.pk)} | {field: ""}
    assert lead_client.post(address, said).status_code == 422
    assert not Assignment.objects.exists()
    wrong = {"pages": "3-1", "colourist": str(fill_in.pk), "due": "someday"}
    answer = lead_client.post(address, wrong)
    assert answer.status_code == 422
    assert "runs backwards" in text_of(answer)
