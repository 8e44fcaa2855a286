"""What was signed is kept whole, and compared with what it is now, mark by mark."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from bible.locks.services import lock_tint
from bible.models import Issue, Series
from bible.models.naming import name_of
from guides.core.kept import changes_since, rows_of, scans_changed
from guides.core.services import delete_mark, rewrite_mark
from guides.issues.queries import today
from guides.models import IssueStep, Mark, SignedState
from guides.signoff.services import reopen, sign_off
from tests.factories import make_guide, make_issue, make_lock, make_mark, make_member, make_part, make_series
from tests.forms import link_of, text_of
from tests.guides.core.scans import bring_page
from tests.pages import client_of, member_client, methods_are_refused

pytestmark = pytest.mark.django_db


class Signed:
    """An issue of three marks, signed."""

    def __init__(self, series: Series, lead: Any) -> None:
        self.series, self.lead, self.issue = series, lead, make_issue(series)
        self.part = make_part(series)
        make_lock(self.part, "R2", by=lead)
        self.page = make_guide(self.issue, page="7", by=lead)
        self.marks = [make_mark(self.page, code, part=self.part, by=lead) for code in ("R2", "R2", "R")]
        self.step = sign_off(issue=self.issue, by=lead, words="known")

    def changes(self) -> list[tuple[int, str, str, str, str]]:
        step = IssueStep.objects.select_related("issue__series").get(pk=self.step.pk)
        found = changes_since(step, step.state)
        return [(one.mark, one.what, one.was_code, one.now_code, one.by) for one in found]


@pytest.fixture
def signed(series: Series, lead: Any) -> Signed:
    return Signed(series, lead)


def test_it_is_kept_whole(signed: Signed) -> None:
    state = SignedState.objects.get(step=signed.step)
    rows = rows_of(state)
    assert list(rows) == [("7", 1), ("7", 2), ("7", 3)]
    first = rows["7", 1]
    assert (first["written"], first["expected_code"], first["part"]) == ("R2", "R2", signed.part.name)
    assert [row[:2] for row in state.guides] == [["7", 1]]
    assert signed.changes() == []
    state.marks.append(["8", *state.marks[0][1:]])
    state.save()
    assert signed.changes() == [(1, "gone", "R2", "", "")], "of a mark that is nowhere, nobody is known"


def test_mark_by_mark_who_and_when(signed: Signed, fill_in: Any) -> None:
    mark = Mark.objects.get(pk=signed.marks[0].pk)
    rewrite_mark(mark=mark, written="YR", part=signed.part, role="base", by=fill_in, seen=mark.version)
    delete_mark(mark=Mark.objects.get(pk=signed.marks[1].pk), by=signed.lead)
    make_mark(signed.page, "B", by=fill_in)
    assert signed.changes() == [
        (1, "code", "R2", "YR", name_of(fill_in)),
        (2, "gone", "R2", "", name_of(signed.lead)),
        (4, "new", "", "B", name_of(fill_in)),
    ]


def test_what_the_bible_says_now_is_its_deciders_deed(signed: Signed) -> None:
    other = make_member(signed.series, "lead")
    make_lock(signed.part, "R", by=other)
    told = signed.changes()
    assert [(number, what, by) for number, what, _, _, by in told] == [
        (n, "what the bible says", name_of(other)) for n in (1, 2, 3)
    ]


def test_a_gradient_is_kept_with_both_its_ends(signed: Signed) -> None:
    sky = make_part(signed.series)
    lock_tint(
        part=sky,
        role="base",
        tint=signed.series.read_locked("B to W"),
        written="B to W",
        from_position=0,
        by=signed.lead,
    )
    mark = make_mark(signed.page, "B", part=sky, to=(0.5, 0.9), to_written="W", by=signed.lead)
    signed.step = sign_off(issue=signed.issue, by=signed.lead, words="known")
    kept = rows_of(SignedState.objects.get(step=signed.step))["7", mark.number]
    assert (kept["expected_code"], kept["to_written"], kept["to_y"]) == ("B to W", "W", 0.9)
    assert signed.changes() == []
    tint = signed.series.read_locked("B to B2")
    lock_tint(part=sky, role="base", tint=tint, written="B to B2", from_position=0, by=signed.lead)
    assert [what for number, what, *_ in signed.changes() if number == mark.number] == ["what the bible says"]


def test_another_scan_is_said(signed: Signed) -> None:
    bring_page(signed.issue, "7", by=signed.lead)
    bring_page(signed.issue, "8", by=signed.lead)
    step = IssueStep.objects.select_related("issue").get(pk=signed.step.pk)
    assert scans_changed(step, step.state) == ["7", "8"]


def test_on_the_page_and_in_its_files(signed: Signed, lead_client: Client, fill_in: Any) -> None:
    mark = Mark.objects.get(pk=signed.marks[0].pk)
    rewrite_mark(mark=mark, written="YR", part=signed.part, role="base", by=fill_in, seen=mark.version)
    check = lead_client.get(reverse("issue-check", args=[signed.series.slug, signed.issue.pk]))
    page = lead_client.get(link_of(check, "What was signed, and what has moved since"))
    words = " ".join(text_of(page).split())
    assert "1 mark is not what was signed" in words
    assert name_of(fill_in) in words
    address = page.wsgi_request.path
    (row,) = json.loads(lead_client.get(address, {"as": "json"}).getvalue())["rows"]
    assert (row["page"], row["mark"], row["signed_as"], row["now"]) == ("7", 1, "R2", "YR")
    kept = json.loads(lead_client.get(address, {"as": "json", "list": "signed"}).getvalue())["rows"]
    assert [one["written"] for one in kept] == ["R2", "R2", "R"]


def test_a_signing_of_before_says_so(signed: Signed, lead_client: Client) -> None:
    SignedState.objects.all().delete()
    page = lead_client.get(reverse("signed", args=[signed.series.slug, signed.step.pk]))
    assert "from before signed states were kept whole" in text_of(page)


def test_refusals(signed: Signed) -> None:
    address = reverse("signed", args=[signed.series.slug, signed.step.pk])
    for role in ("lead", "editor", "fill-in", "guest"):
        assert member_client(signed.series, role).get(address).status_code == 200
    assert Client().get(address).status_code == 302
    assert member_client(make_series(), "lead").get(address).status_code == 404
    methods_are_refused(client_of(signed.lead), address, "post", "put")
    put = IssueStep.objects.create(series=signed.series, issue=signed.issue, kind="in-check", at=signed.step.at)
    assert client_of(signed.lead).get(reverse("signed", args=[signed.series.slug, put.pk])).status_code == 404


def test_it_asks_no_more_as_an_issue_grows(signed: Signed) -> None:
    def queries() -> int:
        step = IssueStep.objects.select_related("issue__series").get(pk=signed.step.pk)
        state = step.state
        with CaptureQueriesContext(connection) as asked:
            changes_since(step, state)
        return len(asked)

    before = queries()
    for _ in range(5):
        make_mark(make_guide(signed.issue, by=signed.lead), "B", part=make_part(signed.series))
    assert queries() == before


def test_today_says_what_was_opened_again(signed: Signed, lead_client: Client) -> None:
    lead = signed.series.memberships.get(user=signed.lead)
    assert today(lead).opened == []
    reopen(issue=signed.issue, by=signed.lead, words="page 7 came back")
    (step,) = today(lead).opened
    assert (step.issue, step.words) == (signed.issue, "page 7 came back")
    front = " ".join(text_of(lead_client.get(reverse("series", args=[signed.series.slug]))).split())
    assert "Signed off, and opened again" in front
    assert "page 7 came back" in front
    sign_off(issue=Issue.objects.get(pk=signed.issue.pk), by=signed.lead, words="so")
    assert today(lead).opened == []
    assert today(signed.series.memberships.create(user=make_member(make_series()), role="fill-in")).opened == []
