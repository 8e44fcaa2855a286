"""“The latest” is the latest issue: every page, file, command and program is told the code that its flags go by."""

from __future__ import annotations

import io
import json
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from lxml import html

from bible.models import Issue, Part, Series
from bible.people.services import make_read_token
from bible.series.running_order import AsOf
from guides.models import Mark
from tests.factories import make_guide, make_issues, make_lock, make_mark, make_part
from tests.forms import form_of, link_of, text_of

pytestmark = pytest.mark.django_db

ALWAYS, NEWEST = "YR", "B"


@pytest.fixture
def issues(series: Series) -> list[Issue]:
    return make_issues(series, 2)


@pytest.fixture
def coat(series: Series, issues: list[Issue], lead: Any, lead_client: Client) -> Part:
    """A coat that a lead locks to another code for the newest issue only; its mark there agrees with that one."""
    coat = make_part(series, name="coat")
    make_lock(coat, ALWAYS, by=lead)
    page = lead_client.get(link_of(lead_client.get(coat.costume.subject.get_absolute_url()), "Lock a code"))
    form_of(page, has="code").fill(code=NEWEST, from_issue="2", to_issue="2").press(lead_client, "Lock")
    make_mark(make_guide(issues[1], by=lead), NEWEST, part=coat)
    assert not Mark.objects.filter(series=series).flagged().exists()
    return coat


def sheet_of(client: Client, series: Series, coat: Part) -> Any:
    return client.get(link_of(client.get(coat.costume.subject.get_absolute_url()), "Colour sheet"))


PAGES: dict[str, Any] = {
    "the bible": lambda client, series, coat: client.get(reverse("bible", args=[series.slug])),
    "look-up": lambda client, series, coat: client.get(reverse("lookup", args=[series.slug]), {"q": "coat"}),
    "the subject": lambda client, series, coat: client.get(coat.costume.subject.get_absolute_url()),
    "its sheet": sheet_of,
}


@pytest.mark.parametrize("name", PAGES)
def test_a_page_shows_the_code_of_the_latest_issue_and_says_its_number(
    series: Series, coat: Part, lead_client: Client, name: str
) -> None:
    answer = PAGES[name](lead_client, series, coat)
    assert "as of issue 2, the latest" in text_of(answer)
    codes = html.fromstring(answer.content.decode()).xpath('//main//span[starts-with(@class, "chip")]')
    assert codes[0].text_content().split()[0] == NEWEST


def test_a_subjects_file_says_which_lock_holds(series: Series, coat: Part, lead_client: Client) -> None:
    answer: Any = lead_client.get(coat.costume.subject.get_absolute_url(), {"as": "json"})
    told = json.loads(b"".join(answer.streaming_content))
    assert told["as_of_issue"] == "2"
    assert [row["written"] for row in told["rows"] if row["in_force"]] == [NEWEST]


def test_the_pocket(series: Series, coat: Part, lead_client: Client) -> None:
    told = lead_client.get(reverse("pocket-data", args=[series.slug])).json()
    assert told["issue"] == "2"
    assert [code["code"] for code in told["parts"][0]["codes"]] == [NEWEST]


def test_the_command(series: Series, coat: Part) -> None:
    out = io.StringIO()
    call_command("lookup", series.slug, "coat", stdout=out)
    assert "As of issue 2, the latest:" in out.getvalue()
    assert f"base {NEWEST}" in out.getvalue()
    out = io.StringIO()
    call_command("lookup", series.slug, "coat", "--json", stdout=out)
    told = json.loads(out.getvalue())
    assert told["as_of"] == "2"
    assert [lock["code"] for lock in told["found"][0]["locks"]] == [NEWEST]


@pytest.mark.parametrize("address", ["parts", "look-up?words=coat"])
def test_other_programs(series: Series, coat: Part, lead: Any, client: Client, address: str) -> None:
    _, secret = make_read_token(membership=series.memberships.get(user=lead), name="a program")
    answer = client.get(f"/api/v1/series/{series.slug}/{address}", headers={"Authorization": f"Bearer {secret}"})
    told = answer.json()
    assert told["issue"] == "2"
    assert [lock["written"] for lock in told["items"][0]["locks"]] == [NEWEST]


def test_an_archived_issue_is_not_the_latest(series: Series, issues: list[Issue]) -> None:
    series.issues.filter(pk=issues[1].pk).update(archived_at=timezone.now())
    assert str(AsOf.at(series)) == "as of issue 1, the latest"
    series.issues.update(archived_at=timezone.now())
    assert str(AsOf.at(series)) == "as of issue 2, the latest"


def test_a_series_without_issues_is_shown_as_of_now(series: Series, lead: Any) -> None:
    coat = make_part(series)
    lock = make_lock(coat, ALWAYS, by=lead)
    moment = AsOf.of(series, "")
    assert (str(moment), moment.number) == ("as of now", "")
    assert lock in lock.__class__.objects.in_force(moment.position)


def test_an_issue_that_is_asked_for_stays_asked_for(series: Series, coat: Part, lead_client: Client) -> None:
    page = lead_client.get(coat.costume.subject.get_absolute_url(), {"issue": "1"})
    assert "as of issue 1" in text_of(page)
    assert form_of(page, has="issue").value("issue") == "1"
    assert link_of(page, "Lock a code").endswith("?issue=1")
    latest = lead_client.get(coat.costume.subject.get_absolute_url())
    assert form_of(latest, has="issue").value("issue") == ""
    assert "?" not in link_of(latest, "Colour sheet")
