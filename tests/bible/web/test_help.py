"""Help pages: they are there for anybody, say what the application says, and lead somewhere."""

from __future__ import annotations

import re
from html import unescape

import pytest
from django.core.management import load_command_class
from django.test import Client
from django.urls import Resolver404, resolve, reverse

from bible.colour.difference import SEVERITY_BANDS
from bible.colour.press import available
from bible.models import Membership, Series
from bible.web.views import TOPICS
from guides.models import FlagKind
from tests.factories import make_guide, make_issue

pytestmark = pytest.mark.django_db


def text(client: Client, path: str) -> str:
    response = client.get(path)
    assert response.status_code == 200, path
    return unescape(response.content.decode())


def test_every_topic_is_listed_and_read_signed_out(client: Client) -> None:
    index = text(client, reverse("help"))
    for topic in TOPICS:
        assert f'href="{topic.url}"' in index
        assert topic.asks in index
        page = text(client, topic.url)
        assert f"<h1>{topic.title}</h1>" in page
        assert f'href="{topic.url}" aria-current="page"' in page


@pytest.mark.parametrize("topic", ["page", "index", "_keys", "nothing"])
def test_what_is_no_topic_is_not_found(client: Client, topic: str) -> None:
    assert client.get(f"/help/{topic}/").status_code == 404


@pytest.mark.parametrize("path", ["/help/", "/help/keys/", "/help/trade/"])
def test_nothing_is_posted_to_help(client: Client, path: str) -> None:
    assert client.post(path).status_code == 405


def test_the_words_are_those_of_the_application(client: Client) -> None:
    flags = text(client, reverse("help-page", args=["flags"]))
    for kind in FlagKind:
        assert f"<dt>{kind.label}</dt>" in flags
    for band in SEVERITY_BANDS:
        assert band.meaning in flags
    trade = text(client, reverse("help-page", args=["trade"])).lower()
    for role in Membership.Role:
        assert f"<dt>{role.label}</dt>" in trade
    press = text(client, reverse("help-page", args=["press"]))
    for condition in available():
        assert condition.title in press
        assert condition.source in press


def test_the_codes_that_are_explained_read_as_they_are_explained(series: Series) -> None:
    said = {"Y": (0, 0, 100), "Y3": (0, 0, 50), "Y2": (0, 0, 25), "YR3B2": (25, 50, 100), "b2 r3 y": (25, 50, 100)}
    for written, (c, m, y) in said.items():
        tint = series.read(written)
        assert (tint.c, tint.m, tint.y) == (c, m, y), written


@pytest.mark.parametrize("topic", TOPICS, ids=lambda topic: topic.slug)
def test_links_lead_somewhere(client: Client, topic: object) -> None:
    page = text(client, topic.url)  # type: ignore[attr-defined]
    links = [href for href in re.findall(r'href="(/[^"#?]*)', page) if not href.startswith("/static/")]
    assert len(links) > 5
    for link in links:
        try:
            resolve(link)
        except Resolver404:  # pragma: no cover
            pytest.fail(f"{topic}: {link} leads nowhere")


def test_the_account_leads_to_what_to_do_when_the_phone_is_lost(lead_client: Client) -> None:
    address = reverse("help-page", args=["second-factor"])
    assert f'href="{address}"' in text(lead_client, reverse("account"))
    page = text(lead_client, address)
    assert "manage.py second_factor NAME --remove" in page, "the command of that name"
    load_command_class("bible", "second_factor").create_parser("manage.py", "second_factor").parse_args(
        ["NAME", "--remove"]
    )
    for said in ("Set it up", "New codes, or take it off", "Sign out everywhere else"):
        assert said in page, "the buttons are called as they are"


class TestKeys:
    def test_the_map_says_what_the_desk_says(self, lead_client: Client, series: Series) -> None:
        """One source for the words: the desk's own list and the map are the same lines."""
        desk = text(lead_client, make_guide(make_issue(series)).get_absolute_url())
        rows = re.findall(r"<div>\s*<dt>.*?</dd>\s*</div>", desk[desk.index('id="desk-keys"') :], re.DOTALL)
        assert len(rows) >= 12
        keys = text(lead_client, reverse("help-keys"))
        for row in rows:
            assert row in keys

    def test_alone_it_is_the_sheets_without_a_page_around_them(self, client: Client) -> None:
        alone = text(client, reverse("help-keys") + "?alone")
        assert "<html" not in alone
        assert alone.count("<section") == 4
        assert alone in text(client, reverse("help-keys"))


class TestWhereHelpIsNeeded:
    def test_an_empty_series_says_what_to_do_first(self, lead_client: Client, series: Series) -> None:
        page = text(lead_client, reverse("series", args=[series.slug]))
        assert "First steps" in page
        assert reverse("help-page", args=["bringing-in"]) in page
        make_issue(series)
        assert "First steps" not in text(lead_client, reverse("series", args=[series.slug]))

    def test_who_may_not_lock_is_told_who_does(self, fill_in_client: Client, series: Series) -> None:
        page = text(fill_in_client, reverse("series", args=[series.slug]))
        assert "A lead colourist or an editor adds the first one" in page
        assert reverse("new-subject", args=[series.slug]) not in page

    @pytest.mark.parametrize(
        ("name", "topic"),
        [
            ("notation", "trade"),
            ("presses", "press"),
            ("flags", "flags"),
            ("bible", "bringing-in"),
            ("issues", "bringing-in"),
        ],
    )
    def test_pages_lead_to_their_help(self, lead_client: Client, series: Series, name: str, topic: str) -> None:
        page = text(lead_client, reverse(name, args=[series.slug]))
        assert reverse("help-page", args=[topic]) in page
