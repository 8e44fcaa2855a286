"""The pages of the way out."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from bible.chart.forms import fingerprint as notation_fingerprint
from bible.models import Issue, Series
from guides.models import Guide, IssueStep
from guides.signoff.services import put_in_check, sign_off
from tests.factories import make_guide, make_issues, make_lock, make_mark, make_member, make_part
from tests.pages import client_of, member_client, methods_are_refused

POSTED = ("put-in-check", "withdraw-issue", "sign-off", "reopen-issue", "set-pages")


@pytest.fixture
def editor(series: Series) -> Any:
    return make_member(series, "editor", username="editor")


@pytest.fixture
def desk(editor: Any) -> Client:
    return client_of(editor)


@pytest.fixture
def issue(series: Series, lead: Any) -> Issue:
    issue = make_issues(series, 1)[0]
    part = make_part(series, name="coat")
    make_lock(part, "YR3B2", by=lead)
    make_mark(make_guide(issue, page="2", by=lead), "YR", part=part)
    return issue


def url(name: str, issue: Issue) -> str:
    return reverse(name, args=[issue.series.slug, issue.pk])


def shown(client: Client, issue: Issue) -> str:
    return client.get(url("issue-check", issue)).context["token"]


def test_the_page_says_what_is_open(desk: Client, issue: Issue) -> None:
    page = desk.get(url("issue-check", issue)).content.decode()
    for words in ("1 differs", "Missing: 1", "Sign off all the same", "Something is open", "in check"):
        assert words in page, words


def test_signing_needs_words_while_something_is_open_and_keeps_them(desk: Client, issue: Issue) -> None:
    refused = desk.post(url("sign-off", issue), {"shown": shown(desk, issue), "words": " "})
    assert refused.status_code == 422
    assert "Something is open" in refused.content.decode()
    long = desk.post(url("sign-off", issue), {"shown": shown(desk, issue), "words": "x" * 501})
    assert long.status_code == 422
    assert "x" * 501 in long.content.decode(), "what was typed is not lost"
    done = desk.post(url("sign-off", issue), {"shown": shown(desk, issue), "words": "the printer waits"}, follow=True)
    page = done.content.decode()
    assert "is signed off" in page
    assert "the printer waits" in page
    assert IssueStep.objects.get(issue=issue).fingerprint in page
    again = desk.post(url("sign-off", issue), {"shown": shown(desk, issue), "words": "twice"})
    assert again.status_code == 422
    assert IssueStep.objects.filter(issue=issue).count() == 1
    assert desk.post(url("reopen-issue", issue), {"words": " "}).status_code == 422
    opened = desk.post(url("reopen-issue", issue), {"words": "page 2 came back"}, follow=True)
    assert "open again, and back in check" in opened.content.decode()


def test_what_moved_meanwhile_is_shown_anew(desk: Client, issue: Issue, lead: Any) -> None:
    token = shown(desk, issue)
    make_mark(Guide.objects.get(), "Y", by=lead)
    refused = desk.post(url("sign-off", issue), {"shown": token, "words": "go"})
    assert refused.status_code == 422
    page = refused.content.decode()
    assert "Something has changed since you looked" in page
    assert "\ngo</textarea>" in page
    desk.post(url("sign-off", issue), {"shown": refused.context["token"], "words": "go"})
    issue.refresh_from_db()
    assert issue.state == Issue.State.SIGNED_OFF


def test_the_page_says_why_it_opened_again(desk: Client, issue: Issue, editor: Any, lead_client: Client) -> None:
    sign_off(issue=issue, by=editor, words="so")
    guide = Guide.objects.get()
    assert "is signed off" in lead_client.get(guide.get_absolute_url()).content.decode(), "said before the deed"
    lead_client.post(
        reverse("new-mark", args=[issue.series.slug, guide.pk]), {"x": 0.5, "y": 0.5, "written": "Y", "role": "base"}
    )
    page = desk.get(url("issue-check", issue)).content.decode()
    assert "mark 2 placed on page 2" in page
    assert "opened again" in page
    assert "in check" in page


def test_a_locks_preview_says_that_a_sign_off_falls(issue: Issue, editor: Any, lead_client: Client) -> None:
    sign_off(issue=issue, by=editor, words="so")
    part = Guide.objects.get().marks.get().part
    assert part
    address = reverse("lock", args=[issue.series.slug, part.pk])
    filled = lead_client.get(address).context["form"].initial
    form = {"role": "base", "code": "B", "from_issue": filled["from_issue"], "seen": filled["seen"]}
    asked = lead_client.post(address, form)
    assert asked.status_code == 422
    assert "Saving opens 1 signed-off issue again" in asked.content.decode()
    assert "sign-off falls" in asked.content.decode()
    issue.refresh_from_db()
    assert issue.signed_off_at, "nothing is saved yet"
    lead_client.post(address, form | {"shown": asked.context["shown"].impact.token})
    issue.refresh_from_db()
    assert issue.state == Issue.State.IN_CHECK


def test_a_change_of_reading_says_so_too(issue: Issue, editor: Any, lead: Any, lead_client: Client) -> None:
    make_mark(Guide.objects.get(), "R4", by=lead)
    sign_off(issue=issue, by=editor, words="so")
    series = issue.series
    address = reverse("edit-notation", args=[series.slug])
    form = {
        name: "" if value is None else value
        for name, value in lead_client.get(address).context["form"].initial.items()
    } | {"seen": notation_fingerprint(series.notation, series.chart_kind)}
    page = lead_client.post(address, form | {"aliases": "R4 = 50"})
    assert page.status_code == 200, page.context["form"].errors
    assert "Saving opens 1 signed-off issue again" in page.content.decode()
    issue.refresh_from_db()
    assert issue.signed_off_at


def test_steps_by_those_who_may(series: Series, issue: Issue, desk: Client, fill_in_client: Client) -> None:
    assert fill_in_client.post(url("put-in-check", issue), {"words": "pages are in"}).status_code == 302
    assert fill_in_client.post(url("sign-off", issue), {"words": "so"}).status_code == 403
    page = fill_in_client.get(url("issue-check", issue)).content.decode()
    assert "The editor signs an issue off" in page
    assert "Sign off all the same" not in page
    assert fill_in_client.post(url("withdraw-issue", issue)).status_code == 302
    assert desk.post(url("withdraw-issue", issue)).status_code == 422
    guest = member_client(series, "guest")
    assert guest.get(url("issue-check", issue)).status_code == 200
    assert guest.post(url("put-in-check", issue)).status_code == 403


def test_pages_expected(desk: Client, issue: Issue, editor: Any) -> None:
    assert desk.post(url("set-pages", issue), {"own": "none", "usual": "0"}).status_code == 422
    assert desk.post(url("set-pages", issue), {"own": "3", "usual": "22"}).status_code == 302
    assert "Missing: 1, 3" in desk.get(url("issue-check", issue)).content.decode()
    sign_off(issue=issue, by=editor, words="so")
    desk.post(url("set-pages", issue), {"own": "3", "usual": "24"})
    issue.refresh_from_db()
    assert issue.signed_off_at, "the usual number touches nothing that is signed"
    desk.post(url("set-pages", issue), {"own": "", "usual": "24"})
    assert IssueStep.objects.get(kind="reopened").words == "number of pages is the usual one now"


def test_what_is_going_out(series: Series, issue: Issue, desk: Client, lead: Any) -> None:
    address = reverse("going-out", args=[series.slug])
    assert "No issue is in check" in desk.get(address).content.decode()
    put_in_check(issue=issue, by=lead, words="have a look")
    page = desk.get(address).content.decode()
    for words in ("1 flag: differs", "page 1 missing", "have a look"):
        assert words in page, words
    counted = []
    for _ in range(2):
        with CaptureQueriesContext(connection) as asked:
            desk.get(address)
        counted.append(len(asked))
        for more in make_issues(series, 3):
            make_guide(more, page="1", by=lead)
            put_in_check(issue=more, by=lead)
    assert counted[0] == counted[1]


def test_wrong_methods(desk: Client, issue: Issue) -> None:
    for name in POSTED:
        methods_are_refused(desk, url(name, issue), "get", "put", "delete")
    methods_are_refused(desk, url("issue-check", issue), "post", "put", "delete")
    methods_are_refused(desk, reverse("going-out", args=[issue.series.slug]), "post")
