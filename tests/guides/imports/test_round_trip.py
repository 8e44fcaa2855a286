"""The tables we write come back in as they went out: into the same series nothing changes, into another one of the same
issues the same stands."""

from __future__ import annotations

import csv
import datetime as dt
import io
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from bible.models import Lock, Series
from bible.models.stretches import Stretch
from tests.factories import (
    make_costume,
    make_guide,
    make_issues,
    make_lock,
    make_mark,
    make_member,
    make_part,
    make_series,
    make_subject,
)
from tests.forms import form_of, text_of
from tests.guides.imports.test_out_and_in import taken_along
from tests.guides.imports.test_taking_back import look, take
from tests.pages import client_of

pytestmark = pytest.mark.django_db

BY_WHOM = {"decided_by", "decided_at"}
"""Whoever brings a table in decides: nobody can say in a table that somebody else has."""


@pytest.fixture
def told(series: Series, lead: User) -> Series:
    """A bible with everything its table can say."""
    issues = make_issues(series, 8)
    subject = make_subject(series, name="Ada", note="Left-handed.")
    worn = [Stretch(0, issues[2].position), Stretch(issues[4].position)]
    coat = make_part(costume=make_costume(subject, name="work coat", worn=worn), name="coat")
    make_lock(coat, "YR3B2", by=lead, to_position=issues[3].position, reason="from the model sheet")
    make_lock(coat, "C25 M50 Y100", by=lead, from_position=issues[3].position, to_position=issues[5].position)
    make_lock(coat, "R", by=lead, role="shade", from_position=issues[6].position, reason="=night")
    make_part(costume=coat.costume, name="lining")
    make_part(costume=make_costume(make_subject(series, name="Boat", kind="prop"), name="as drawn"), name="hull")
    make_subject(series, name="Nobody yet")
    return series


def rows(text: str, *but: str) -> list[dict[str, str]]:
    return [
        {name: cell for name, cell in row.items() if name not in but} for row in csv.DictReader(io.StringIO(text))
    ]


def looked_at(client: Client, series: Series, kind: str, text: str) -> Any:
    page = client.get(reverse({"marks": "bring-marks-table"}.get(kind, f"bring-{kind}"), args=[series.slug]))
    return (
        form_of(page, has="file").attach(file=SimpleUploadedFile("t.csv", text.encode())).press(client, follow=True)
    )


def test_the_bible_tells_all_and_comes_back_equal(told: Series, lead: User, lead_client: Client) -> None:
    text = taken_along(lead_client, told, "bible")
    coat = rows(text)[0]
    assert [coat[name] for name in ("from_issue", "to_issue", "role")] == ["", "3", "base"]
    assert coat["reason"] == "from the model sheet"
    assert coat["worn"].lstrip("'") == "- 2; 5 -"
    assert coat["decided_by"] == str(lead)
    assert dt.datetime.fromisoformat(coat["decided_at"]).tzinfo
    before = list(Lock.objects.order_by("pk").values())
    assert "0 of 6 rows would be taken, 6 are so already" in text_of(looked_at(lead_client, told, "bible", text))
    assert list(Lock.objects.order_by("pk").values()) == before
    other = make_series(slug="other")
    make_issues(other, 8)
    client = client_of(make_member(other, "lead"))
    take(client, other, "bible", text)
    assert rows(taken_along(client, other, "bible"), *BY_WHOM) == rows(text, *BY_WHOM)


def test_the_bible_as_of_an_issue_says_what_held_there(told: Series, lead_client: Client) -> None:
    address = reverse("bible", args=[told.slug])
    file: Any = lead_client.get(address, {"issue": "4", "as": "csv"})
    found = rows(b"".join(file.streaming_content).decode("utf-8-sig"))
    assert [(row["part"], row["code"], row["from_issue"], row["to_issue"]) for row in found if row["code"]] == [
        ("coat", "YR3B2", "4", "5")
    ]


def test_a_gradient_comes_back_whole(series: Series, lead: User, lead_client: Client) -> None:
    make_issues(series, 2)
    take(lead_client, series, "bible", "subject,part,code\nSky,air,B to W downwards\n")
    text = taken_along(lead_client, series, "bible")
    assert rows(text)[0]["code"] == "B to W downwards"
    assert "1 is so already" in text_of(looked_at(lead_client, series, "bible", text))
    other = make_series(slug="other")
    client = client_of(make_member(other, "lead"))
    take(client, other, "bible", text)
    assert Lock.objects.get(series=other).locked == Lock.objects.get(series=series).locked


def test_issues_keep_their_order_and_are_updated_not_doubled(series: Series, lead_client: Client) -> None:
    make_issues(series, 3)
    series.issues.filter(number="2").update(title="Fog", published=dt.date(2026, 3, 1))
    text = taken_along(lead_client, series, "issues")
    assert "3 are so already" in text_of(looked_at(lead_client, series, "issues", text))
    other = make_series(slug="other")
    client = client_of(make_member(other, "lead"))
    take(client, other, "issues", text)
    assert rows(taken_along(client, other, "issues")) == rows(text)
    changed = text.replace("Fog", "Thick fog").replace("2026-03-01", "2 April 2026")
    seen = text_of(looked_at(client, other, "issues", changed))
    assert "its title “Fog” becomes “Thick fog”, its cover date 1 March 2026 becomes 2 April 2026" in seen
    table = take(client, other, "issues", changed)
    assert [(one.number, one.title) for one in other.issues.in_order()] == [("1", ""), ("2", "Thick fog"), ("3", "")]
    form_of(look(client, table), says="Take it all back").press(client)
    assert other.issues.get(number="2").title == "Fog"
    assert other.issues.get(number="2").published == dt.date(2026, 3, 1)


def test_the_marks_of_a_hand_off_come_back_without_doubling(series: Series, lead: User, lead_client: Client) -> None:
    one, two = make_issues(series, 2)
    part = make_part(series, name="coat")
    for issue in (one, two):
        guide = make_guide(issue, page="7", by=lead)
        make_mark(guide, "YR3B2", part=part, x=1 / 3, y=0.25)
        make_mark(guide, "scribble", x=0.5, y=2 / 7)
    file: Any = lead_client.get(reverse("hand-off-file", args=[series.slug, one.pk, "csv"]))
    text = (b"".join(file.streaming_content) if file.streaming else file.content).decode("utf-8-sig")
    seen = text_of(looked_at(lead_client, series, "marks", text))
    assert "0 of 2 rows would be taken, 2 are so already" in seen
