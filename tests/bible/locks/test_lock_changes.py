"""Which codes changed between two issues, and between two days; who decided what, filtered."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from bible.locks.changes import lock_changes
from bible.models import Activity, Lock, Series
from tests.factories import make_issue, make_issues, make_lock, make_member, make_part, make_series
from tests.forms import form_of, link_of, text_of
from tests.pages import member_client, methods_are_refused

pytestmark = pytest.mark.django_db


def told(series: Series, *ends: Any) -> list[tuple[str, str, str, str]]:
    def code(lock: Lock | None) -> str:
        return lock.written if lock else ""

    return [(one.part.name, one.what, code(one.was), code(one.now)) for one in lock_changes(series, *ends)]


def test_between_two_issues(series: Series, lead: Any) -> None:
    one, two, three = make_issues(series, 3)
    coat, hat, belt = (make_part(series, name=name) for name in ("coat", "hat", "belt"))
    make_lock(coat, "YR", by=lead)
    make_lock(coat, "YR3", by=lead, from_position=two.position)
    make_lock(hat, "B", by=lead, from_position=three.position)
    make_lock(belt, "Y", by=lead)
    make_lock(belt, "Y", by=lead, from_position=two.position, reason="said again")
    assert told(series, one, two) == [("coat", "changed", "YR", "YR3")]
    assert sorted(told(series, one, three)) == [("coat", "changed", "YR", "YR3"), ("hat", "new", "", "B")]
    assert sorted(told(series, three, one)) == [("coat", "changed", "YR3", "YR"), ("hat", "ended", "B", "")]
    assert told(series, two, two) == []


def test_between_two_days(series: Series, lead: Any) -> None:
    issue = make_issue(series)
    coat = make_part(series, name="coat")
    make_lock(coat, "YR", by=lead)
    long_ago = timezone.now() - dt.timedelta(days=20)
    Lock.objects.update(decided_at=long_ago)
    make_lock(coat, "YR3", by=lead, from_position=0)
    before = (timezone.now() - dt.timedelta(days=5)).date()
    assert told(series, issue, issue, before, None) == [("coat", "changed", "YR", "YR3")]
    assert told(series, issue, issue, (long_ago - dt.timedelta(days=1)).date(), before) == [("coat", "new", "", "YR")]
    assert told(series, issue, issue, before, before) == []


def test_on_the_page_by_subject_and_in_its_files(series: Series, lead: Any, lead_client: Client) -> None:
    _, two = make_issues(series, 2)
    parts = [make_part(series) for _ in range(2)]
    for part in parts:
        make_lock(part, "YR", by=lead)
        make_lock(part, "B", by=lead, from_position=two.position, reason="faded in print")
    start = lead_client.get(reverse("activity", args=[series.slug]))
    page = lead_client.get(link_of(start, "Which codes changed between two issues or days"))
    assert len(page.context["rows"]) == 2
    assert "faded in print" in text_of(page)
    subject = parts[0].costume.subject
    asked = form_of(page, has="subject").fill(first="1", last="2", subject=str(subject.pk)).press(lead_client)
    assert [one.part for one in asked.context["rows"]] == [parts[0]]
    (row,) = json.loads(
        lead_client.get(page.wsgi_request.path, {"subject": str(subject.pk), "as": "json"}).getvalue()
    )["rows"]
    assert (row["was_code"], row["now_code"], row["reason"], row["what"]) == ("YR", "B", "faded in print", "changed")


def test_refusals(series: Series, lead: Any) -> None:
    address = reverse("lock-changes", args=[series.slug])
    for role in ("lead", "editor", "fill-in", "guest"):
        assert member_client(series, role).get(address).status_code == 200
    lead_client = member_client(series, "lead")
    for wrong in ({"first": "none"}, {"since": "someday"}, {"subject": "0"}):
        assert lead_client.get(address, wrong).status_code == 422
    assert Client().get(address).status_code == 302
    assert member_client(make_series(), "lead").get(address).status_code == 404
    methods_are_refused(lead_client, address, "post", "put")


def test_who_decided_what_between_issues_and_days_by_subject_and_kind(
    series: Series, lead: Any, lead_client: Client
) -> None:
    one, two, three = make_issues(series, 3)
    other = make_member(series, "lead")
    parts = [make_part(series) for _ in range(2)]
    make_lock(parts[0], "YR", by=lead, from_position=one.position)
    make_lock(parts[1], "B", by=other, from_position=two.position)
    make_lock(parts[1], "B2", by=other, from_position=three.position)
    Activity.objects.filter(lock__from_position=three.position).update(day=dt.date(2020, 1, 1))
    address = reverse("activity", args=[series.slug])
    for asked, count in (
        ({"kind": "locks"}, 3),
        ({"kind": "locks", "from_issue": "2"}, 2),
        ({"kind": "locks", "from_issue": "1", "to_issue": "1"}, 1),
        ({"kind": "locks", "subject": str(parts[1].costume.subject_id)}, 2),
        ({"kind": "locks", "who": str(other.pk), "to_issue": "2"}, 1),
        ({"kind": "locks", "until": "2020-12-31"}, 1),
        ({"kind": "locks", "since": "2021-01-01"}, 2),
        ({"deed": "locked", "kind": "locks"}, None),
        ({"deed": "signed-off"}, 0),
    ):
        rows = json.loads(lead_client.get(address, {**asked, "as": "json"}).getvalue())["rows"]
        assert len(rows) == count or (count is None and {row["deed"] for row in rows} == {"locked"}), asked
    for wrong in ({"deed": "x"}, {"since": "x"}, {"subject": "0"}, {"from_issue": "99"}):
        assert lead_client.get(address, wrong).status_code == 422
