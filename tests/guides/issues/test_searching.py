"""One search over everything: each kind by what it is called, nothing of another series, nothing archived."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from bible.models import Series
from tests.factories import make_costume, make_guide, make_issue, make_lock, make_part, make_series, make_subject
from tests.pages import htmx, methods_are_refused

pytestmark = pytest.mark.django_db


def found(client: Client, series: Series, words: str) -> str:
    answer = client.get(reverse("search", args=[series.slug]), {"q": words}, headers=htmx("search-finds"))
    assert answer.status_code == 200
    assert "<html" not in answer.content.decode()
    return " ".join(answer.content.decode().split())


@pytest.fixture
def filled(series: Series) -> Series:
    ada = make_subject(series, name="Ada Penn")
    make_lock(make_part(costume=make_costume(ada, name="work coat"), name="coat"), "YR3B2")
    issue = make_issue(series, number="Annual 2", title="The Low Bridge")
    make_guide(issue, page="7")
    return series


@pytest.mark.parametrize(
    ("words", "kind", "told"),
    [
        ("penn", "Subjects", "Ada Penn"),
        ("ada coat", "Parts", "Ada Penn, work coat: coat"),
        ("b2 r3 y", "Code", "YR3B2"),
        ("low bridge", "Issues", "Annual 2"),
        ("annual 2 7", "Pages", "issue Annual 2, page 7"),
        ("Issue Annual 2, page 7", "Pages", "issue Annual 2, page 7"),
        ("newsprint", "Help", "What a press condition is"),
    ],
)
def test_each_kind_is_found_by_what_it_is_called(
    fill_in_client: Client, filled: Series, words: str, kind: str, told: str
) -> None:
    page = found(fill_in_client, filled, words)
    assert f"<dt>{kind}</dt>" in page
    assert told in page


def test_people_are_found_by_the_name_that_is_shown(fill_in_client: Client, filled: Series) -> None:
    somebody = filled.memberships.select_related("user").get(user=fill_in_client.session["_auth_user_id"]).user
    assert "<dt>People</dt>" in found(fill_in_client, filled, somebody.get_full_name() or somebody.username)


def test_what_is_elsewhere_or_archived_is_not_found(fill_in_client: Client, filled: Series) -> None:
    other = make_series()
    make_subject(other, name="Zeno")
    make_guide(make_issue(other, number="88"), page="3")
    make_subject(filled, name="Quilla", archived_at=timezone.now())
    for words in ("zeno", "88 3", "quilla", "\\", "  "):
        page = found(fill_in_client, filled, words)
        assert "<dt>" not in page, words


def test_as_a_page_it_keeps_what_was_asked(fill_in_client: Client, filled: Series) -> None:
    page = fill_in_client.get(reverse("search", args=[filled.slug]), {"q": "penn"}).content.decode()
    assert 'value="penn"' in page
    assert "Ada Penn" in page
    assert fill_in_client.get(reverse("search", args=[filled.slug]), {"q": "x" * 81}).status_code == 422


def test_only_asking_is_answered(fill_in_client: Client, series: Series) -> None:
    methods_are_refused(fill_in_client, reverse("search", args=[series.slug]), "post", "put", "delete")
