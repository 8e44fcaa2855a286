"""What happened: one row a deed, pages of them, the line of the last visit, and who may read what."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from bible.activity.models import _begin_bundle
from bible.activity.queries import DEEDS_A_PAGE, page_of, read_key, write_key
from bible.activity.services import VISIT, has_news, look
from bible.locks.notes import note_on_lock
from bible.locks.services import lock_tint
from bible.models import Activity, ActivityKind, Membership, Series, record
from bible.people.services import change_role, invite, remove_member
from bible.proposals.services import decline_proposal, propose
from guides.core.services import delete_mark, rewrite_mark
from tests.factories import make_guide, make_issue, make_lock, make_mark, make_member, make_part, make_series
from tests.pages import client_of, htmx, member_client, methods_are_refused

pytestmark = pytest.mark.django_db


def address(series: Series, query: str = "") -> str:
    return reverse("activity", args=[series.slug]) + query


def text_of(client: Client, url: str) -> str:
    response = client.get(url)
    assert response.status_code == 200
    return response.content.decode()


def member_of(series: Series, user: Any) -> Membership:
    return Membership.objects.get(series=series, user=user)


def test_a_lock_and_the_one_that_supersedes_it_are_told_with_code_reason_and_issues(
    series: Series, lead: Any, fill_in_client: Client
) -> None:
    first, _ = make_issue(series), make_issue(series, number="41")
    part = make_part(series)
    make_lock(part, "YR3B2", by=lead, reason="as drawn")
    make_lock(part, "Y", by=lead, reason="new coat", from_position=first.position + 1)
    assert list(Activity.objects.values_list("kind", flat=True)) == ["superseded", "locked"]
    page = text_of(fill_in_client, address(series))
    for said in (part.full_name, "as drawn", "new coat", "from issue 41 on", "YR3B2"):
        assert said in page


def test_marks_of_a_page_person_and_day_are_one_row_that_counts(series: Series, lead: Any, fill_in: Any) -> None:
    guide = make_guide(make_issue(series), by=lead)
    one = make_mark(guide, by=fill_in)
    for _ in range(3):
        make_mark(guide, by=fill_in)
    make_mark(guide, by=lead)
    other = make_guide(guide.issue, by=lead)
    make_mark(other, by=fill_in)
    rewrite_mark(mark=one, written="Y", part=None, role="base", by=fill_in)
    delete_mark(mark=one, by=fill_in)
    rows = Activity.objects.filter(room="marks").order_by("id").values_list("kind", "by", "page", "count")
    assert list(rows) == [
        ("marked", fill_in.pk, guide.page, 4),
        ("marked", lead.pk, guide.page, 1),
        ("marked", fill_in.pk, other.page, 1),
        ("rewrote", fill_in.pk, guide.page, 1),
        ("unmarked", fill_in.pk, guide.page, 1),
    ]


def test_two_windows_that_begin_a_days_marks_at_once_share_the_row(series: Series, lead: Any) -> None:
    guide = make_guide(make_issue(series), by=lead)
    record(ActivityKind.MARKED, series=series, by=lead, issue=guide.issue, page="7")
    late = Activity.objects.get(page="7")
    late.pk, late.count = None, 2
    _begin_bundle(late)
    assert Activity.objects.get(page="7").count == 3


def test_the_next_day_begins_a_row_of_its_own(series: Series, lead: Any) -> None:
    guide = make_guide(make_issue(series), by=lead)
    make_mark(guide, by=lead)
    Activity.objects.update(day=timezone.now().date() - dt.timedelta(days=1))
    make_mark(guide, by=lead)
    assert list(Activity.objects.filter(kind="marked").values_list("count", flat=True)) == [1, 1]


def test_a_deed_undone_leaves_no_row(series: Series, lead: Any) -> None:
    from django.db import transaction

    part = make_part(series)
    with transaction.atomic():
        make_lock(part, by=lead)
        transaction.set_rollback(True)
    assert not Activity.objects.exists()


def test_the_sign_shows_what_others_did_since_the_last_look(series: Series, lead: Any, fill_in: Any) -> None:
    part = make_part(series)
    assert not has_news(member_of(series, fill_in))
    make_lock(part, by=lead)
    assert has_news(member_of(series, fill_in))
    assert not has_news(member_of(series, lead)), "one's own deeds are no news"
    client = client_of(fill_in)
    desk = reverse("series", args=[series.slug])
    assert "something new" in text_of(client, desk)
    client.get(address(series))
    assert "something new" not in text_of(client, desk)


def test_the_line_stays_where_the_last_visit_ended_however_often_the_page_is_loaded(
    series: Series, lead: Any, fill_in: Any
) -> None:
    part = make_part(series)
    make_lock(part, "YR3B2", by=lead)
    membership = member_of(series, fill_in)
    assert look(membership) is None
    before = timezone.now() - VISIT - dt.timedelta(minutes=1)
    Membership.objects.filter(pk=membership.pk).update(looked_at=before)
    Activity.objects.update(at=before - dt.timedelta(minutes=5))
    make_lock(part, "Y", by=lead)
    client = client_of(fill_in)
    for _ in range(2):
        page = text_of(client, address(series))
        assert page.count("seen-line") == 1
        assert page.index("deed-new") < page.index("seen-line") < page.rindex('class="deed"')
        assert "<strong>1 new</strong>" in page


def test_a_visit_ends_after_a_while(series: Series, fill_in: Any) -> None:
    membership = member_of(series, fill_in)
    look(membership)
    soon = membership.looked_at
    assert look(membership) is None, "the same visit"
    assert soon
    Membership.objects.filter(pk=membership.pk).update(looked_at=soon - VISIT * 2)
    membership.refresh_from_db()
    assert look(membership) == soon - VISIT * 2


@pytest.mark.parametrize("role", ["lead", "fill-in", "editor", "guest"])
def test_who_reads_what(series: Series, lead: Any, role: str) -> None:
    part = make_part(series)
    lock = make_lock(part, by=lead)
    note_on_lock(lock=lock, text="between ourselves", by=lead)
    propose(by=lead, part=part, tint=lock.tint, written="Y", from_position=0, note="asked for")
    invite(series=series, role="guest", meant_for="A. Stranger", by=lead)
    page = text_of(member_client(series, role), address(series))
    assert part.full_name in page
    assert ("between ourselves" in page) == (role != "guest")
    assert ("asked for" in page) == (role != "guest")
    assert ("A. Stranger" in page) == (role == "lead")
    asked = text_of(member_client(series, "guest"), address(series, f"?who={lead.pk}"))
    assert "between ourselves" not in asked


def test_a_guest_cannot_ask_for_the_workshops_talk(series: Series, lead: Any) -> None:
    note_on_lock(lock=make_lock(make_part(series), by=lead), text="between ourselves", by=lead)
    response = member_client(series, "guest").get(address(series, "?kind=notes"))
    assert response.status_code == 422
    assert "between ourselves" not in response.content.decode()


def test_filters_by_kind_and_person(series: Series, lead: Any, fill_in: Any, lead_client: Client) -> None:
    part = make_part(series)
    make_lock(part, by=lead, reason="a reason")
    guide = make_guide(make_issue(series), by=lead)
    make_mark(guide, by=fill_in)
    marks = text_of(lead_client, address(series, "?kind=marks"))
    assert "placed 1 mark" in marks
    assert "a reason" not in marks
    theirs = text_of(lead_client, address(series, f"?who={fill_in.pk}"))
    assert "placed 1 mark" in theirs
    assert "a reason" not in theirs
    both = lead_client.get(address(series, f"?who={fill_in.pk}&kind=locks"), headers=htmx("activity"))
    assert "Nothing of this sort" in both.content.decode()
    assert "<html" not in both.content.decode()


@pytest.mark.parametrize("query", ["?kind=nonsense", "?who=0", "?who=abc", "?who=%00", f"?who={'9' * 30}"])
def test_a_filter_that_makes_no_sense_is_refused(series: Series, lead_client: Client, query: str) -> None:
    assert lead_client.get(address(series, query)).status_code == 422


def test_who_has_left_can_be_asked_for_but_no_stranger(series: Series, lead_client: Client, fill_in: Any) -> None:
    make_mark(make_guide(make_issue(series), by=fill_in), by=fill_in)
    make_member(series, "lead")
    remove_member(membership=member_of(series, fill_in))
    assert "placed 1 mark" in text_of(lead_client, address(series, f"?who={fill_in.pk}"))
    stranger = make_member(make_series(), "lead", username="a-stranger")
    response = lead_client.get(address(series, f"?who={stranger.pk}"))
    assert response.status_code == 422
    assert "a-stranger" not in response.content.decode()


def test_another_series_deeds_are_not_here(series: Series, lead_client: Client) -> None:
    other = make_lock(make_part(make_series()), reason="elsewhere")
    assert other.reason not in text_of(lead_client, address(series))


def many(series: Series, by: Any, how_many: int) -> None:
    now = timezone.now()
    Activity.objects.bulk_create(
        Activity(series=series, room="settings", kind="press", by=by, at=now, day=now.date(), words={"name": f"n{n}"})
        for n in range(how_many)
    )


def test_pages_hang_together_and_cost_the_same(series: Series, lead: Any, lead_client: Client) -> None:
    many(series, lead, DEEDS_A_PAGE * 2 + 5)
    seen: list[int] = []
    after = None
    while True:
        page = page_of(series, [Activity.objects.filter(series=series)], after, None)
        seen += [line.deed.pk for _, lines in page.days for line in lines]
        if not page.more:
            break
        after = read_key(page.more)
    assert seen == sorted(Activity.objects.values_list("pk", flat=True), reverse=True)
    counts = []
    for extra in (0, 300):
        many(series, lead, extra)
        with CaptureQueriesContext(connection) as asked:
            assert lead_client.get(address(series)).status_code == 200
        counts.append(len(asked))
    assert counts[0] == counts[1] <= 16


def test_a_list_of_every_kind_of_deed_needs_no_query_a_row(series: Series, lead: Any, lead_client: Client) -> None:
    counts = []
    for n in range(2):
        for _ in range(1 + 6 * n):
            part = make_part(series)
            lock = make_lock(part, by=lead)
            make_lock(part, "Y", by=lead)
            note_on_lock(lock=lock, text="so", by=lead)
            asked_for = propose(by=lead, part=part, tint=lock.tint, written="Y", from_position=0)
            decline_proposal(proposal=asked_for, by=lead, answer="no")
            make_mark(make_guide(make_issue(series), by=lead), by=lead)
        with CaptureQueriesContext(connection) as asked:
            lead_client.get(address(series))
        counts.append(len(asked))
    assert counts[0] == counts[1]


def test_keys_survive_the_address_and_nonsense_begins_at_the_beginning() -> None:
    key = (timezone.now(), 17)
    assert read_key(write_key(key)) == key
    for nonsense in (
        "",
        "x",
        "-",
        "20250101T000000.0-",
        "20259901T000000.000000-1",
        "²-²",
        "20250101T000000.000000-²",
    ):
        assert read_key(nonsense) is None


def test_a_persons_page_has_their_work_and_the_answers_to_their_proposals(
    series: Series, lead: Any, fill_in: Any
) -> None:
    part = make_part(series)
    asked_for = propose(by=fill_in, part=part, tint=series.read("Y"), written="Y", from_position=0, note="sunlit")
    decline_proposal(proposal=asked_for, by=lead, answer="not in print")
    make_lock(make_part(series), by=lead, reason="nothing to do with it")
    url = reverse("person", args=[series.slug, member_of(series, fill_in).pk])
    page = text_of(client_of(fill_in), url)
    assert "Your proposals" in page
    assert page.count("not in print") == 2
    assert "nothing to do with it" not in page
    guest = text_of(member_client(series, "guest"), url)
    assert "not in print" not in guest
    assert "sunlit" not in guest


def test_a_role_is_told_on_the_persons_page(series: Series, lead: Any, fill_in: Any, lead_client: Client) -> None:
    membership = member_of(series, fill_in)
    change_role(membership=membership, role="editor", by=lead)
    change_role(membership=membership, role="editor", by=lead)
    assert Activity.objects.filter(kind="role-changed").count() == 1
    page = text_of(lead_client, reverse("person", args=[series.slug, membership.pk]))
    assert "editor (before: fill-in colourist)" in page


def test_only_looking(series: Series, lead_client: Client, lead: Any) -> None:
    person = reverse("person", args=[series.slug, member_of(series, lead).pk])
    for url in (address(series), person):
        methods_are_refused(lead_client, url, "post", "put", "delete")


def test_text_is_cut_and_escaped(series: Series, lead: Any, lead_client: Client) -> None:
    lock = lock_tint(
        part=make_part(series), role="base", tint=series.read("Y"), written="Y", from_position=0, by=lead
    )
    note_on_lock(lock=lock, text="<b>" + "x" * 1990, by=lead)
    page = text_of(lead_client, address(series))
    assert "&lt;b&gt;" in page
    assert "<b>x" not in page
    assert "x" * 198 not in page
