"""Word by e-mail: who is told of what, how often, and where to."""

from __future__ import annotations

import datetime as dt
import json
import re
from typing import Any

import pytest
from django.core import mail
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from bible.models import ActivityKind, Job, NoticeChoice, Proposal, Series, record
from bible.notices.queries import how_for
from bible.notices.sending import send_word
from bible.notices.services import choose
from bible.proposals.services import decline_proposal, propose
from bible.tasks.worker import work_off
from guides.assignments.services import give_pages
from guides.signoff.services import put_in_check
from tests.factories import make_guide, make_issue, make_lock, make_mark, make_member, make_part, make_series
from tests.forms import form_of, link_of, text_of
from tests.pages import client_of, member_client

pytestmark = pytest.mark.django_db

How = NoticeChoice.How


@pytest.fixture(autouse=True)
def _public_url(settings: Any) -> None:
    settings.PUBLIC_URL = "https://bible.example"


def person(series: Series, role: str, **overrides: Any) -> Any:
    made = make_member(series, role, **overrides)
    made.email = f"{made.username}@mail.example"
    made.save(update_fields=["email"])
    return made


def word(series: Series, user: Any) -> str:
    """The letter that somebody would get now; empty where nothing is new."""
    mail.outbox.clear()
    sent = send_word(membership=series.memberships.select_related("user", "series").get(user=user))
    assert sent == bool(mail.outbox)
    return str(mail.outbox[0].subject + "\n" + mail.outbox[0].body) if sent else ""


def asked(series: Series, by: Any) -> Proposal:
    part = make_part(series)
    lock = make_lock(part, "YR3B2")
    return propose(part=part, role="base", tint=lock.tint, written="YR", from_position=0, note="as printed", by=by)


def test_a_proposal_is_news_to_who_answers_it_and_its_answer_to_who_asked(series: Series) -> None:
    lead, editor = person(series, "lead"), person(series, "editor")
    fill_in, other = person(series, "fill-in"), person(series, "fill-in")
    made = asked(series, fill_in)
    told = word(series, lead)
    assert f"proposed {series.write(made.tint)} for {made.part.full_name}" in told
    assert f"https://bible.example/s/{series.slug}/proposals/#proposal-{made.pk}" in told
    assert word(series, lead) == "", "one is told once"
    assert [word(series, one) for one in (editor, fill_in, other)] == ["", "", ""]
    decline_proposal(proposal=made, answer="too close to the wall", by=lead)
    assert "declined the proposal of" in word(series, fill_in)
    assert [word(series, one) for one in (lead, editor, other)] == ["", "", ""]


def test_an_issue_in_check_is_the_editors_news_or_the_leads_where_there_is_none(series: Series) -> None:
    lead, fill_in = person(series, "lead"), person(series, "fill-in")
    put_in_check(issue=make_issue(series), by=fill_in)
    assert "put issue 1 in check" in word(series, lead)
    editor = person(series, "editor")
    series.memberships.filter(user=editor).update(joined_at=timezone.now() - dt.timedelta(days=1))
    assert "put issue 1 in check" in word(series, editor)
    put_in_check(issue=make_issue(series), by=lead)
    assert word(series, lead) == ""


def test_pages_are_news_to_who_gets_them(series: Series) -> None:
    lead, fill_in = person(series, "lead"), person(series, "fill-in")
    due = dt.date(2026, 12, 4)
    give_pages(issue=make_issue(series), pages=["1", "2", "cover"], colourist=fill_in, due=due, by=lead)
    assert "gave pages cover, 1, 2 of issue 1 to" in (told := word(series, fill_in))
    assert "to be in by 4 Dec 2026" in told
    assert word(series, lead) == ""
    give_pages(issue=make_issue(series), pages=["1"], colourist=lead, by=lead)
    assert word(series, lead) == "", "nobody gets word of their own deeds"


def test_new_flags_on_ones_own_pages(series: Series) -> None:
    lead, fill_in = person(series, "lead"), person(series, "fill-in")
    part = make_part(series)
    make_lock(part, "YR", by=lead)
    page = make_guide(make_issue(series), page="7", by=fill_in, colourist=fill_in)
    make_mark(page, "YR", part=part, by=fill_in)
    assert word(series, fill_in) == ""
    make_lock(part, "YR3", by=lead)
    told = word(series, fill_in)
    assert "1 new flag on your pages" in told
    assert f"Issue 1, page 7, mark 1: {part.full_name}, differs, written YR." in told
    assert word(series, fill_in) == ""
    make_mark(page, "B", part=part, by=fill_in)
    assert word(series, fill_in) == "", "one's own slip is one's own deed"


def test_a_guest_is_told_nothing_of_the_workshop(series: Series) -> None:
    lead, guest = person(series, "lead"), person(series, "guest")
    about = {"series": series, "by": lead, "person": guest, "issue": make_issue(series)}
    record(ActivityKind.PAGES_GIVEN, words={"pages": "1"}, **about)
    assert word(series, guest) == ""


def test_nothing_of_before_one_joined_or_of_another_series(series: Series) -> None:
    lead, fill_in = person(series, "lead"), person(series, "fill-in")
    asked(series, fill_in)
    late = person(series, "lead")
    assert word(series, late) == ""
    elsewhere = make_series()
    person(elsewhere, "lead")
    elsewhere.memberships.create(user=lead, role="lead")
    asked(series, fill_in)
    assert word(elsewhere, lead) == ""


def test_how_one_wants_it(series: Series) -> None:
    member = person(series, "lead")
    membership = series.memberships.select_related("user").get(user=member)
    assert how_for(membership) == How.DAILY
    choose(user=member, everywhere=How.NEVER, by_series={})
    assert how_for(membership) == How.NEVER
    choose(user=member, everywhere=How.NEVER, by_series={series.pk: How.AT_ONCE, make_series().pk: How.DAILY})
    assert how_for(membership) == How.AT_ONCE
    assert NoticeChoice.objects.count() == 2, "not of a series that is not one's own"
    choose(user=member, everywhere=How.DAILY, by_series={series.pk: ""})
    assert how_for(membership) == How.DAILY
    membership.user.email = ""
    assert how_for(membership) == How.NEVER


def test_at_once_goes_out_in_the_background_and_daily_waits(series: Series) -> None:
    eager, patient, silent = (person(series, "lead") for _ in range(3))
    choose(user=eager, everywhere=How.AT_ONCE, by_series={})
    choose(user=silent, everywhere=How.NEVER, by_series={})
    fill_in = person(series, "fill-in")
    asked(series, fill_in)
    asked(series, fill_in)
    assert Job.objects.filter(key=f"word-{series.pk}").count() == 1, "what comes together is one letter"
    Job.objects.get(key=f"word-{series.pk}").run.__class__.objects.update(run_after=timezone.now())
    work_off()
    assert [letter.to for letter in mail.outbox] == [[eager.email]]
    assert "2 things that concern you" in mail.outbox[0].subject
    mail.outbox.clear()
    call_command("daily_word", "--json", stdout=(out := __import__("io").StringIO()))
    assert json.loads(out.getvalue()) == {"asked_for": 2}
    work_off()
    assert [letter.to for letter in mail.outbox] == [[patient.email]]


def test_nobody_at_once_asks_for_no_work(series: Series) -> None:
    person(series, "lead")
    asked(series, person(series, "fill-in"))
    assert not Job.objects.exists()


def test_every_letter_says_how_to_end_them(series: Series) -> None:
    lead = person(series, "lead")
    asked(series, person(series, "fill-in"))
    word(series, lead)
    (letter,) = mail.outbox
    assert letter.extra_headers["List-Unsubscribe"] == "<https://bible.example/notices/>"
    assert "https://bible.example/notices/" in letter.body
    assert letter.content_subtype == "plain"


def test_an_address_counts_once_its_letter_is_answered(series: Series, lead_client: Client, lead: Any) -> None:
    page = lead_client.get(link_of(lead_client.get(reverse("people", args=[series.slug])), "word by e-mail"))
    form = form_of(page, has="email").fill(email="lead@mail.example", everywhere="at-once")
    assert form.press(lead_client).status_code == 302
    lead.refresh_from_db()
    assert lead.email == ""
    (letter,) = mail.outbox
    link = re.search(r"https://bible\.example(/notices/confirm/\S+)", str(letter.body))
    assert link
    stranger = member_client(series, "editor")
    stranger.get(link[1])
    lead.refresh_from_db()
    assert lead.email == "", "somebody else's click confirms nothing"
    assert "goes to lead@mail.example" in text_of(lead_client.get(link[1], follow=True))
    lead.refresh_from_db()
    assert lead.email == "lead@mail.example"
    assert NoticeChoice.objects.get(user=lead, series=None).how == How.AT_ONCE
    gone = form_of(lead_client.get(reverse("notices")), has="email").fill(email="")
    gone.press(lead_client)
    lead.refresh_from_db()
    assert lead.email == ""


def test_refusals_of_the_page(series: Series, lead_client: Client) -> None:
    address = reverse("notices")
    assert Client().get(address).status_code == 302
    assert lead_client.put(address).status_code == 405
    for wrong in ({"email": "no address", "everywhere": "daily"}, {"everywhere": "hourly"}, {}):
        assert lead_client.post(address, wrong).status_code == 422
    assert not mail.outbox
    assert "old or somebody else’s" in text_of(
        lead_client.get(reverse("confirm-address", args=["x"]), follow=True)
    ).replace("'", "’")
    for n in range(7):
        last = lead_client.post(address, {"email": f"a{n}@mail.example", "everywhere": "daily"})
    assert last.status_code == 429
    assert len(mail.outbox) == 5


def test_the_page_shows_what_was_chosen(series: Series) -> None:
    member = person(series, "fill-in")
    choose(user=member, everywhere=How.DAILY, by_series={series.pk: How.NEVER})
    form = form_of(client_of(member).get(reverse("notices")), has="email")
    assert (form.value("everywhere"), form.value(f"series-{series.pk}")) == ("daily", "never")
