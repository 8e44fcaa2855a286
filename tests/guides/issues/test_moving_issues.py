"""Moving an issue in the running order through its page: what it would do is shown before it is done."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bible.locks.services import lock_tint
from bible.models import Issue, Series
from bible.series.services import move_issue
from guides.models import Mark
from tests.factories import make_guide, make_issue, make_issues, make_lock, make_mark, make_part, make_series
from tests.pages import member_client, methods_are_refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def issues(series: Series) -> list[Issue]:
    return make_issues(series, 4)


@pytest.fixture
def part(series: Series, issues: list[Issue], lead: Any) -> Any:
    """YR up to issue 2, Y from issue 3 on, and every mark agrees."""
    part = make_part(series)
    make_lock(part, "YR", by=lead)
    make_lock(part, "Y", from_position=issues[2].position, by=lead)
    for number, issue in enumerate(issues, 1):
        make_mark(make_guide(issue, by=lead), "YR" if number < 3 else "Y", part=part)
    return part


def page_of(issue: Issue) -> str:
    return reverse("move-issue", args=[issue.series.slug, issue.pk])


def order(series: Series) -> list[str]:
    return [issue.number for issue in series.issues.in_order()]


def hidden(response: Any, name: str) -> str:
    found = re.search(rf'name="{name}" value="([\w-]+)"', response.content.decode())
    assert found
    return found[1]


def test_flags_that_a_move_opens_are_shown_and_moved_on_the_yes(
    series: Series, part: Any, issues: list[Issue], lead_client: Client
) -> None:
    page = page_of(issues[0])
    first = lead_client.get(page)
    answers = {"after": "3", "seen": hidden(first, "seen")}
    response = lead_client.post(page, answers)
    assert response.status_code == 422
    assert "<strong>1</strong> flag would open" in response.content.decode()
    assert order(series) == ["1", "2", "3", "4"]
    response = lead_client.post(page, answers | {"shown": hidden(response, "shown")})
    assert response.status_code == 302
    assert order(series) == ["2", "3", "1", "4"]
    assert [mark.written for mark in Mark.objects.open()] == ["YR"]


def test_a_move_without_consequences_is_done_at_once_and_can_go_first(
    series: Series, part: Any, issues: list[Issue], lead_client: Client
) -> None:
    page = page_of(issues[1])
    response = lead_client.post(page, {"after": "", "seen": hidden(lead_client.get(page), "seen")})
    assert response.status_code == 302
    assert order(series) == ["2", "1", "3", "4"]


def test_the_later_of_two_is_told_where_it_stands_now(
    series: Series, part: Any, issues: list[Issue], lead: Any, lead_client: Client
) -> None:
    page = page_of(issues[3])
    answers = {"after": "1", "seen": hidden(lead_client.get(page), "seen")}
    move_issue(issue=issues[3], after=issues[1], by=lead)
    response = lead_client.post(page, answers)
    assert response.status_code == 422
    assert "now stands beside issue 2 and issue 3" in response.content.decode()
    assert order(series) == ["1", "2", "4", "3"]
    answers["seen"] = hidden(response, "seen")
    assert lead_client.post(page, answers).status_code == 302  # its flag is open already: nothing changes
    assert order(series) == ["1", "4", "2", "3"]


def test_consequences_that_have_grown_meanwhile_are_shown_again(
    series: Series, part: Any, issues: list[Issue], lead_client: Client
) -> None:
    page = page_of(issues[0])
    answers = {"after": "3", "seen": hidden(lead_client.get(page), "seen")}
    shown = hidden(lead_client.post(page, answers), "shown")
    make_mark(make_guide(issues[0]), "YR", part=part)
    response = lead_client.post(page, answers | {"shown": shown})
    assert response.status_code == 422
    assert "moved meanwhile" in response.content.decode()
    assert order(series) == ["1", "2", "3", "4"]


@pytest.mark.parametrize(("after", "says"), [("99", "There is no issue 99"), ("1", "cannot stand behind itself")])
def test_places_that_are_none(
    series: Series, issues: list[Issue], lead_client: Client, after: str, says: str
) -> None:
    response = lead_client.post(page_of(issues[0]), {"after": after})
    assert response.status_code == 422
    assert says in response.content.decode()


@pytest.mark.parametrize("role", ["fill-in", "editor", "guest"])
def test_only_a_lead_moves(series: Series, issues: list[Issue], role: str) -> None:
    client = member_client(series, role)
    assert client.get(page_of(issues[0])).status_code == 403
    assert client.post(page_of(issues[0]), {"after": "3"}).status_code == 403
    assert b"Move in the running order" not in client.get(issues[0].get_absolute_url()).content


def test_the_issue_page_leads_here_and_nobody_else_gets_in(
    series: Series, issues: list[Issue], lead_client: Client
) -> None:
    assert page_of(issues[0]) in lead_client.get(issues[0].get_absolute_url()).content.decode()
    assert lead_client.get(page_of(make_issue(make_series()))).status_code == 404
    assert Client().get(page_of(issues[0])).status_code == 302
    methods_are_refused(lead_client, page_of(issues[0]), "put", "delete")


def test_a_lock_whose_issue_moved_while_its_form_was_read_is_not_saved_elsewhere(
    series: Series, part: Any, issues: list[Issue], lead: Any, lead_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between reading “from issue 3” and saving, somebody moves issue 3: the lock must not begin where it stood."""
    from guides.decisions import lock_views as locks

    def moved_then(*args: Any, **said: Any) -> Any:
        move_issue(issue=issues[2], after=issues[3], by=lead)
        return hold(*args, **said)

    hold = locks.hold_places
    other = make_part(series)
    page = reverse("lock", args=[series.slug, other.pk])
    monkeypatch.setattr(locks, "hold_places", moved_then)
    response = lead_client.post(page, {"role": "base", "code": "B", "from_issue": "3"})
    assert response.status_code == 422
    assert "Issue 3 has been moved in the running order meanwhile" in response.content.decode()
    assert not other.locks.exists()
    monkeypatch.setattr(locks, "hold_places", hold)
    assert lead_client.post(page, {"role": "base", "code": "B", "from_issue": "3"}).status_code == 302
    assert other.locks.get().from_position == series.issues.get(number="3").position


def test_ending_a_lock_at_an_issue_that_moved(
    series: Series, part: Any, issues: list[Issue], lead: Any, lead_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    from guides.decisions import lock_views as locks

    hold = locks.hold_places

    def moved_then(*args: Any) -> None:
        move_issue(issue=issues[3], after=None, by=lead)
        hold(*args)

    other = make_part(series)
    lock = lock_tint(part=other, role="base", tint=series.read("B"), written="B", from_position=0, by=lead)
    monkeypatch.setattr(locks, "hold_places", moved_then)
    response = lead_client.post(
        reverse("end-lock", args=[series.slug, lock.pk]), {"at_issue": "4", "reason": "lost at sea"}
    )
    assert response.status_code == 422
    assert "Issue 4 has been moved" in response.content.decode()
    lock.refresh_from_db()
    assert lock.to_position is None
