"""A series' front page, its issues, and one issue with its guides."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from bible.models import Issue, Series
from tests.factories import make_guide, make_issue, make_issues, make_lock, make_mark, make_member, make_part
from tests.forms import form_of, text_of
from tests.pages import member_client, methods_are_refused

pytestmark = pytest.mark.django_db


def queries(client: Client, url: str) -> int:
    with CaptureQueriesContext(connection) as asked:
        assert client.get(url).status_code == 200
    return len(asked)


def grow(series: Series, issue: Issue, how_many: int) -> None:
    """Guides, each of another colourist, with a flag each; and as many more issues with one of each."""
    part = make_part(series)
    make_lock(part, "YR3B2")
    for _ in range(how_many):
        colourist = make_member(series, "fill-in")
        make_mark(make_guide(issue, colourist=colourist), "YRB2", part=part)
        make_mark(make_guide(make_issue(series), colourist=colourist), "YRB2", part=part)


LISTS: dict[str, Callable[[Issue], str]] = {
    "desk": lambda issue: reverse("series", args=[issue.series.slug]),
    "issues": lambda issue: reverse("issues", args=[issue.series.slug]),
    "issue": lambda issue: issue.get_absolute_url(),
}


@pytest.mark.parametrize("page", LISTS)
def test_three_rows_or_thirty_cost_as_many_queries(fill_in_client: Client, series: Series, page: str) -> None:
    issue = make_issue(series)
    grow(series, issue, 3)
    # Somebody stands on both sides of the issue in both counts.
    few = queries(fill_in_client, LISTS[page](issue))
    grow(series, issue, 27)
    assert queries(fill_in_client, LISTS[page](issue)) == few


@pytest.mark.parametrize("page", LISTS)
def test_the_lists_are_only_read(fill_in_client: Client, series: Series, page: str) -> None:
    methods_are_refused(fill_in_client, LISTS[page](make_issue(series)), "post", "put", "delete")


def test_the_desk_counts_flags_by_kind_and_leads_to_them(fill_in_client: Client, series: Series, lead: Any) -> None:
    issue = make_issue(series)
    part = make_part(series)
    make_lock(part, "YR3B2")
    guide = make_guide(issue)
    for code in ("YRB2", "YB", "??"):
        make_mark(guide, code, part=part)
    text = fill_in_client.get(LISTS["desk"](issue)).content.decode()
    assert "3 open flags" in text
    assert '?kind=differs"><strong>2</strong>' in text
    assert '?kind=unreadable"><strong>1</strong>' in text
    assert "?kind=no-lock" not in text, "what there is none of takes no room"
    assert "lead" in text


def test_a_fill_in_sees_the_flags_of_their_own_pages(fill_in_client: Client, series: Series, fill_in: Any) -> None:
    """Everybody's are counted; listed are those that they can mend."""
    part = make_part(series)
    make_lock(part, "YR3B2")
    mine, other = (make_mark(make_guide(issue), "YRB2", part=part) for issue in make_issues(series, 2))
    mine.guide.colourist = fill_in
    mine.guide.save()
    text = fill_in_client.get(LISTS["desk"](mine.guide.issue)).content.decode()
    assert "2 open flags" in text
    assert f"?mark={mine.pk}" in text
    assert f"?mark={other.pk}" not in text


def test_who_only_reads_finds_the_look_up_first(series: Series) -> None:
    part = make_part(series)
    make_lock(part, "YR3B2")
    mark = make_mark(make_guide(make_issue(series)), "YRB2", part=part)
    client = member_client(series, "guest")
    page = client.get(LISTS["desk"](mark.guide.issue))
    assert "1 open flag" in text_of(page)
    assert f"?mark={mark.pk}" not in page.content.decode()
    found = (
        form_of(page, has="q", action=reverse("lookup", args=[series.slug])).fill(q="YR3B2").press(client, "Look up")
    )
    assert part.costume.subject.name in text_of(found)


def test_issues_stand_newest_first_with_their_guides_and_flags(fill_in_client: Client, series: Series) -> None:
    first, second = make_issues(series, 2)
    make_mark(make_guide(first, page="1"), "Y", part=make_part(series))
    text = fill_in_client.get(LISTS["issues"](first)).content.decode()
    assert text.index(second.get_absolute_url()) < text.index(first.get_absolute_url())
    assert "?issue=1" in text
    assert text.count("none") == 1


def test_an_issue_shows_its_current_guides_and_its_neighbours(fill_in_client: Client, series: Series) -> None:
    before, issue, behind = make_issues(series, 3)
    current = make_guide(issue, page="7", revision=2)
    old = make_guide(issue, page="7", is_current=False)
    other = make_guide(before, page="8")
    text = fill_in_client.get(issue.get_absolute_url()).content.decode()
    assert current.get_absolute_url() in text
    for absent in (old, other):
        assert absent.get_absolute_url() not in text
    assert f'href="{before.get_absolute_url()}" rel="prev"' in text
    assert f'href="{behind.get_absolute_url()}" rel="next"' in text


class TestNewIssue:
    def add(self, client: Client, series: Series, **said: str) -> Any:
        values = {"number": "9", "title": "", "published": "", "after": ""} | said
        return client.post(reverse("new-issue", args=[series.slug]), values)

    @pytest.mark.parametrize("role", ["lead", "editor"])
    def test_it_goes_to_the_end(self, series: Series, role: str) -> None:
        make_issues(series, 2)
        answer = self.add(member_client(series, role), series, number="Annual 2", published="1958-04-01")
        made = Issue.objects.get(number="Annual 2")
        assert answer["Location"] == made.get_absolute_url()
        assert series.issues.in_order().last() == made

    def test_or_behind_another_one(self, lead_client: Client, series: Series) -> None:
        make_issues(series, 2)
        self.add(lead_client, series, number="1½", after="1")
        assert [issue.number for issue in series.issues.in_order()] == ["1", "1½", "2"]

    @pytest.mark.parametrize(
        ("said", "told"),
        [
            ({"number": " 2 "}, "has an issue 2 already"),
            ({"number": ""}, "required"),
            ({"number": "x" * 31}, "at most 30"),
            ({"after": "77"}, "There is no issue 77"),
            ({"published": "yesterday"}, "Enter a valid date"),
        ],
    )
    def test_bad_input_is_told_and_kept(
        self, lead_client: Client, series: Series, said: dict[str, str], told: str
    ) -> None:
        make_issues(series, 2)
        answer = self.add(lead_client, series, title="The Ferry", **said)
        assert answer.status_code == 422
        text = answer.content.decode()
        assert told in text
        assert 'value="The Ferry"' in text
        assert series.issues.count() == 2

    def test_numbers_differ_by_more_than_letter_case(self, lead_client: Client, series: Series) -> None:
        make_issue(series, number="Annual 2")
        assert self.add(lead_client, series, number="annual  2").status_code == 422

    def test_no_room_left_is_told_beside_the_field(self, lead_client: Client, series: Series) -> None:
        make_issue(series, number="1", position=10)
        make_issue(series, number="2", position=11)
        answer = self.add(lead_client, series, after="1")
        assert answer.status_code == 422
        assert "There is no room left between issue 1 and issue 2." in answer.content.decode()

    def test_a_fill_in_is_told_who_may(self, fill_in_client: Client, series: Series, lead: Any) -> None:
        answer = self.add(fill_in_client, series)
        assert answer.status_code == 403
        assert "Only a lead colourist or an editor may do this" in answer.content.decode()
