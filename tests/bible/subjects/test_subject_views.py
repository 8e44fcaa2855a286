"""The bible's own pages: subjects, costumes and parts. Who may use them is the role matrix's to test."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from bible.models import Costume, Part, Series, Subject
from bible.models.stretches import Stretch
from bible.subjects.views import OPEN_AT_MOST
from bible.subjects.wearing import set_worn
from guides.models import FlagKind, Mark
from tests.factories import (
    make_costume,
    make_guide,
    make_issues,
    make_lock,
    make_mark,
    make_part,
    make_series,
    make_subject,
)
from tests.pages import htmx, member_client, methods_are_refused

pytestmark = pytest.mark.django_db


def at(series: Series, rest: str) -> str:
    return f"/s/{series.slug}/{rest}"


def test_the_bible_shows_what_holds_at_an_issue(lead_client: Client, series: Series) -> None:
    issues = make_issues(series, 3)
    part = make_part(costume=make_costume(make_subject(series, name="Ferrywoman")), name="coat")
    make_lock(part, "YR3B2")
    make_lock(part, "B2", from_position=issues[2].position)
    before = lead_client.get(at(series, "bible/"), {"issue": "2"}).content.decode()
    after = lead_client.get(at(series, "bible/"), {"issue": "3"}).content.decode()
    assert ">YR3B2<" in before
    assert ">B2<" not in before
    assert ">B2<" in after
    assert ">YR3B2<" not in after
    assert "as of issue 2" in before
    assert "A screen is not a proof" in before


def test_of_many_subjects_the_first_costume_lies_open(lead_client: Client, series: Series) -> None:
    for number in range(OPEN_AT_MOST + 1):
        subject = make_subject(series=series, name=f"Sailor {number}")
        for name in ("always", "oilskins"):
            make_part(costume=make_costume(subject=subject, name=name), name="collar")
    address = f"/s/{series.slug}/bible/"
    page = lead_client.get(address).content.decode()
    assert page.count('<details class="costume-fold">') == OPEN_AT_MOST + 1
    assert page.count("collar") == 2 * (OPEN_AT_MOST + 1)
    assert 'href="?open=1"' in page
    for query in ({"open": 1}, {"q": "Sailor 1"}):
        assert "<details" not in lead_client.get(address, query).content.decode().partition("<main")[2]


def test_an_unknown_issue_is_said_and_the_latest_shown(lead_client: Client, series: Series) -> None:
    page = lead_client.get(at(series, "bible/"), {"issue": "99"}).content.decode()
    assert "There is no issue 99" in page


@pytest.mark.parametrize(
    ("words", "found"), [("ferry", True), ("COAT ferry", True), ("coat tram", False), ("", True), ("\x00", True)]
)
def test_search_takes_every_word_in_any_name(lead_client: Client, series: Series, words: str, found: bool) -> None:
    make_part(costume=make_costume(make_subject(series, name="Ferrywoman")), name="coat")
    answer = lead_client.get(at(series, "bible/"), {"q": words}, headers=htmx("subjects"))
    assert ("Ferrywoman" in answer.content.decode()) is found
    assert "<html" not in answer.content.decode()


def test_a_subject_of_another_series_is_not_there(lead_client: Client, series: Series) -> None:
    other = make_subject(make_series(), name="Somebody else's")
    answer = lead_client.get(at(series, f"bible/{other.pk}/"))
    assert answer.status_code == 404
    assert "Somebody else" not in answer.content.decode()


def test_queries_do_not_grow_with_subjects(lead_client: Client, series: Series) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            assert lead_client.get(at(series, "bible/")).status_code == 200
        return len(caught)

    make_lock(make_part(series))
    few = queries()
    for _ in range(12):
        make_lock(make_part(series))
    assert queries() == few


def test_a_subject_its_costume_and_its_part_are_made(lead_client: Client, series: Series) -> None:
    lead_client.post(at(series, "bible/new"), {"kind": "character", "name": " Old  Tam ", "note": ""})
    subject = Subject.objects.get(series=series)
    assert subject.name == "Old Tam"
    lead_client.post(at(series, f"bible/{subject.pk}/new-costume"), {"name": "oilskins"})
    costume = subject.costumes.get()
    answer = lead_client.post(at(series, f"costumes/{costume.pk}/new-part"), {"name": "hat"})
    part = costume.parts.get()
    assert answer.headers["Location"] == at(series, f"parts/{part.pk}/lock")


def test_a_name_that_is_taken_is_refused_and_kept_in_the_form(lead_client: Client, series: Series) -> None:
    subject = make_subject(series, name="Tam")
    costume = make_costume(subject, name="oilskins")
    make_part(costume=costume, name="hat")
    posts = {
        "bible/new": {"kind": "prop", "name": "TAM", "note": "kept text"},
        f"bible/{subject.pk}/new-costume": {"name": "Oilskins"},
        f"costumes/{costume.pk}/new-part": {"name": "Hat"},
    }
    for rest, data in posts.items():
        answer = lead_client.post(at(series, rest), data)
        assert answer.status_code == 422, rest
        assert f"There is a “{data['name']}” already." in answer.content.decode()
        assert f'value="{data["name"]}"' in answer.content.decode()
    assert (Subject.objects.count(), Costume.objects.count(), Part.objects.count()) == (1, 1, 1)


def test_a_costumes_time_is_told_back_and_changed_with_its_marks(lead_client: Client, series: Series) -> None:
    issues = make_issues(series, 4)
    part = make_part(series)
    make_lock(part, "YR3B2")
    make_mark(make_guide(issues[3]), "YR3B2", part=part)
    costume = part.costume
    set_worn(costume=costume, worn=[Stretch(issues[1].position, issues[3].position)])
    page = lead_client.get(at(series, f"costumes/{costume.pk}/edit")).content.decode()
    assert 'name="from_issue" value="2"' in page
    assert 'name="to_issue" value="3"' in page
    assert [mark.flag_kind for mark in Mark.objects.flagged()] == [FlagKind.OUT_OF_USE]
    changed = {"name": "renamed", "from_issue": "2", "to_issue": "4"}
    asked = lead_client.post(at(series, f"costumes/{costume.pk}/edit"), changed)
    assert asked.status_code == 422, "a flag would close, and that is shown first"
    assert [(row.opens, row.closes) for row in asked.context["shown"].impact.rows] == [(0, 1)]
    costume.refresh_from_db()
    assert costume.name != "renamed", "nothing is saved yet"
    token = asked.context["shown"].impact.token
    lead_client.post(at(series, f"costumes/{costume.pk}/edit"), changed | {"shown": token})
    costume.refresh_from_db()
    assert costume.name == "renamed"
    assert not Mark.objects.flagged().exists()


@pytest.mark.parametrize(
    ("times", "message"),
    [
        ({"from_issue": "3", "to_issue": "2"}, "It cannot end before it begins."),
        ({"from_issue": "77", "to_issue": ""}, "There is no issue 77"),
    ],
)
def test_a_time_that_cannot_be_changes_nothing(
    lead_client: Client, series: Series, times: dict[str, Any], message: str
) -> None:
    make_issues(series, 3)
    costume = make_costume(make_subject(series), name="as it was")
    answer = lead_client.post(at(series, f"costumes/{costume.pk}/edit"), {"name": "as it is"} | times)
    assert answer.status_code == 422
    assert message in answer.content.decode()
    costume.refresh_from_db()
    assert costume.name == "as it was"


def test_a_fill_in_sees_no_way_to_change_and_is_told_who_may(series: Series) -> None:
    client = member_client(series, "fill-in")
    subject = make_subject(series)
    page = client.get(at(series, f"bible/{subject.pk}/")).content.decode()
    assert "New costume" not in page
    answer = client.post(at(series, "bible/new"), {"kind": "prop", "name": "x"})
    assert answer.status_code == 403
    assert "Only a lead colourist may do this" in answer.content.decode()
    assert Subject.objects.count() == 1


def test_methods_that_make_no_sense_are_refused(lead_client: Client, series: Series) -> None:
    subject = make_subject(series)
    methods_are_refused(lead_client, at(series, "bible/"), "post", "put", "delete")
    methods_are_refused(lead_client, at(series, f"bible/{subject.pk}/"), "post", "delete")
    methods_are_refused(lead_client, at(series, "bible/new"), "put", "delete")


@pytest.mark.parametrize("taken", ["guides", "django_htmx", "sessions"])
def test_a_series_cannot_be_called_like_an_app(lead_client: Client, taken: str) -> None:
    answer = lead_client.post("/new-series/", {"title": "T", "slug": taken, "chart_kind": "64"})
    assert answer.status_code == 422
    assert "a word this program uses itself" in answer.content.decode()


def test_a_bible_without_subjects_says_so(lead_client: Client, series: Series) -> None:
    address = f"/s/{series.slug}/bible/"
    assert "No subject is here yet." in lead_client.get(address).content.decode()
    assert "Nothing by that name." in lead_client.get(address, {"q": "zzz"}).content.decode()


def test_what_changed_comes_first_as_strips(lead_client: Client, series: Series) -> None:
    """Issues along, a band a lock; the rows with who and why lie folded below."""
    issues = make_issues(series, 4)
    subject = make_subject(series, name="Ferrywoman")
    costume = make_costume(subject, name="work coat")
    coat, belt = (make_part(costume=costume, name=name) for name in ("coat", "belt"))
    make_lock(coat, "YR3B2", to_position=issues[1].position)
    make_lock(coat, "B2", from_position=issues[1].position)
    make_lock(belt, "Y")
    page = lead_client.get(subject.get_absolute_url()).content.decode()
    assert page.count('class="lock-strip"') == 1, "the belt has not changed"
    assert 'x="0.00%" width="25.00%"' in page
    assert 'x="25.00%" width="75.00%"' in page
    assert "work coat: belt" in page.split('class="decisions"')[1]
