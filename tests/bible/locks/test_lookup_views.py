"""The quick look-up and the type-ahead for parts."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from lxml import html

from bible.colour.shifts import Op, Shift, Step
from bible.models import Scene, Series
from bible.scenes.services import HeldTo, set_scene
from tests.factories import make_costume, make_issues, make_lock, make_part, make_series, make_subject
from tests.forms import text_of
from tests.pages import htmx, methods_are_refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def coat(series: Series) -> Any:
    part = make_part(costume=make_costume(make_subject(series, name="Ada Penn"), name="work coat"), name="coat")
    make_lock(part, "YR3B2")
    return part


def ask(client: Client, series: Series, headers: dict[str, str] | None = None, **query: str) -> Any:
    return client.get(reverse("lookup", args=[series.slug]), query, headers=headers)


def test_code_swatch_and_caution_stand_together(fill_in_client: Client, series: Series, coat: Any) -> None:
    text = ask(fill_in_client, series, q="ada co").content.decode()
    assert "YR3B2" in text
    assert '<rect width="24" height="24" fill="#' in text
    assert "A screen is not a proof" in text
    assert 'value="ada co"' in text


def test_with_htmx_only_the_answers_come(fill_in_client: Client, series: Series, coat: Any) -> None:
    text = ask(fill_in_client, series, htmx("found"), q="ada co").content.decode()
    assert "YR3B2" in text
    assert "<html" not in text
    assert "<form" not in text


def test_as_of_an_issue_and_of_an_unknown_one(fill_in_client: Client, series: Series, coat: Any) -> None:
    _, second = make_issues(series, 2)
    make_lock(coat, "YR", from_position=second.position)
    assert "YR3B2" in ask(fill_in_client, series, q="coat", issue="1").content.decode()
    text = ask(fill_in_client, series, q="coat", issue="99").content.decode()
    assert "There is no issue 99; this is the latest state." in text
    assert 'value="99"' in text


@pytest.mark.parametrize("headers", [None, htmx("found")])
@pytest.mark.parametrize(
    ("query", "said"), [({"q": "x" * 81}, "at most 80"), ({"q": "a\0b"}, "Null"), ({"issue": "y" * 31}, "at most 30")]
)
def test_what_cannot_be_asked_is_told_and_kept(
    fill_in_client: Client, series: Series, query: dict[str, str], said: str, headers: dict[str, str] | None
) -> None:
    answer = ask(fill_in_client, series, headers, **query)
    assert answer.status_code == 422
    text = answer.content.decode()
    assert said in text
    [typed] = query.values()
    if headers is None and "\0" not in typed:
        assert f'value="{typed}"' in text


def test_nothing_found_says_what_to_do(fill_in_client: Client, series: Series, coat: Any) -> None:
    assert "No part fits all of “zzz”" in ask(fill_in_client, series, q="zzz").content.decode()
    assert "Type part of a name" in ask(fill_in_client, series).content.decode()
    assert "<script>" not in ask(fill_in_client, series, q="<script>").content.decode().replace("&lt;script&gt;", "")


def test_a_light_that_falls_on_the_part_is_said_and_one_on_others_is_not(
    fill_in_client: Client, series: Series, lead: Any, coat: Any
) -> None:
    redder = Shift((Step(Op.UP, "m", 1),))
    other = make_part(series, name="hat")
    for name, targets in (
        ("Firelight", [HeldTo(part=coat.pk)]), ("Lamp", [HeldTo(part=other.pk)]), ("Night", []),
        ("Glow", [HeldTo(role="shade")]),
    ):  # fmt: skip
        set_scene(scene=Scene(series=series, name=name), rule=redder, by=lead, targets=targets)
    text = text_of(ask(fill_in_client, series, q="ada co"))
    assert "base in Firelight" in text
    assert "YRB2" in text
    assert not {"Lamp", "Night", "Glow"} & set(text.split())


def test_three_answers_or_thirty_cost_as_many_queries(fill_in_client: Client, series: Series) -> None:
    counts = []
    for more in (3, 27):
        for _ in range(more):
            make_lock(make_part(costume=make_costume(make_subject(series)), name=f"coat {more}-{_}"), "Y")
        with CaptureQueriesContext(connection) as asked:
            ask(fill_in_client, series, q="coat")
        counts.append(len(asked))
    assert counts[0] == counts[1]


class TestTypeAhead:
    def options(self, client: Client, series: Series, part: str) -> str:
        return client.get(reverse("part-options", args=[series.slug]), {"part": part}).content.decode()

    def test_two_letters_of_each_word_do(self, fill_in_client: Client, series: Series, coat: Any) -> None:
        assert (
            self.options(fill_in_client, series, "ad co").strip()
            == '<option value="Ada Penn, work coat: coat"></option>'
        )

    @pytest.mark.parametrize("part", ["", "  ", "zz", "\0", "%"])
    def test_nothing_fits_nothing(self, fill_in_client: Client, series: Series, coat: Any, part: str) -> None:
        assert self.options(fill_in_client, series, part).strip() == ""

    def test_other_series_are_not_offered(self, fill_in_client: Client, series: Series) -> None:
        make_part(costume=make_costume(make_subject(make_series(), name="Zeno")), name="cloak")
        assert "Zeno" not in self.options(fill_in_client, series, "ze")

    def test_names_are_never_markup(self, fill_in_client: Client, series: Series) -> None:
        make_part(costume=make_costume(make_subject(series, name='"><b>Zeno')), name="cloak")
        assert "<b>" not in self.options(fill_in_client, series, "zeno")


def test_wrong_methods(fill_in_client: Client, series: Series) -> None:
    for name in ("lookup", "part-options"):
        methods_are_refused(fill_in_client, reverse(name, args=[series.slug]), "post", "put", "delete")


def test_whoever_types_nothing_chooses_from_all_names(lead_client: Client, series: Series) -> None:
    make_lock(make_part(series, name="coat"), "YR3B2")
    subject = series.subjects.get()
    page = html.fromstring(ask(lead_client, series).content)
    link = page.xpath("//*[@id='found']//li/a")[0]
    assert link.text_content() == subject.name
    assert "YR3B2" in lead_client.get(link.get("href")).content.decode()
