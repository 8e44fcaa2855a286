"""What Enter presses: a form's first submit button, by the HTML standard (section “implicit submission”).

So every button says what it is, and where a form has a main button nothing that submits stands before it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from lxml import html

from bible.models import Membership
from tests.factories import make_paint
from tests.pages import HTMX, client_of
from tests.world import ADDRESSES, SERIES_PREFIX, World, full_name, url

TEMPLATES = Path(__file__).resolve().parents[1] / "templates"
TAG = re.compile(r"<button\b(?:\{%.*?%\}|[^>])*>", re.DOTALL)

SUBMITS = "self::button[not(@type) or @type='submit'] or self::input[@type='submit' or @type='image']"


def templates() -> list[Path]:
    return sorted(TEMPLATES.rglob("*.html"))


def test_every_button_says_what_it_is() -> None:
    tags = [(path, tag) for path in templates() for tag in TAG.findall(path.read_text(encoding="utf-8"))]
    assert len(tags) > 90
    silent = [(path.name, tag) for path, tag in tags if not re.search(r'\btype="(submit|button|reset)"', tag)]
    assert silent == []


def before_the_main_one(page: str) -> list[str]:
    """Submit buttons that Enter would press instead of their form's main one."""
    found = []
    for form in html.fromstring(page).iter("form"):
        submits: list[Any] = form.xpath(f".//*[{SUBMITS}]")
        main = next((at for at, one in enumerate(submits) if "main" in one.get("class", "").split()), 0)
        found += [f"{form.get('action')}: {one.text_content().strip()}" for one in submits[:main]]
    return found


def test_the_rule_sees_what_it_forbids() -> None:
    button = '<button type="submit"{}>{}</button>'
    main, other = button.format(' class="main"', "Save"), button.format("", "Other")
    assert before_the_main_one(f"<form action='/a'>{other}{main}</form>") == ["/a: Other"]
    assert before_the_main_one(f"<form action='/a'>{main}{other}</form><form>{other}</form>") == []


def pages(client: Client, world: World) -> Iterator[tuple[str, str]]:
    for address in ADDRESSES:
        arguments = world.arguments(address)
        inside = address.route.startswith(SERIES_PREFIX)
        path = url(address, world.series, arguments) if inside else reverse(full_name(address), kwargs=arguments)
        response = client.get(path)
        if response.status_code == 200 and not response.streaming and b"<html" in response.content[:200]:
            yield path, response.content.decode()


@pytest.mark.django_db
def test_on_every_page_enter_presses_the_main_button() -> None:
    world = World()
    make_paint(world.things["marks"])
    for role in (Membership.Role.LEAD, Membership.Role.FILL_IN):
        found = list(pages(client_of(world.people[role]), world))
        assert len(found) > 40
        assert [(path, one) for path, page in found for one in before_the_main_one(page)] == []


@pytest.mark.django_db
def test_what_the_paint_says_adds_no_submit_button_to_the_form_it_comes_into() -> None:
    world = World()
    mark = world.things["marks"]
    make_paint(mark)
    client = client_of(world.people[Membership.Role.LEAD])
    said = client.get(reverse("mark-paint", args=[world.series.slug, mark.pk]), headers=HTMX).content.decode()
    assert "The code is as meant" in said
    assert html.fromstring(f"<form>{said}</form>").xpath(f".//*[{SUBMITS}]") == []
