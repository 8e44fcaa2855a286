"""Whoever looks for a page finds it: each one is linked from another, and none is left without a way on."""

from __future__ import annotations

import re
from html import unescape
from urllib.parse import urljoin, urlsplit

import pytest
from django.test import Client
from django.urls import Resolver404, resolve, reverse

from bible.models import Membership
from tests.world import ADDRESSES, SERIES_PREFIX, World, full_name, url

pytestmark = pytest.mark.django_db

COME_TO_OTHERWISE = {
    "login": "whoever is not signed in is sent there",
    "sign-in-code": "signing in leads there, for accounts with a second factor",
    "join": "its address is handed over by the lead",
    "find-tint": "the chart's form leads there",
    "new-account": "a refused form shows it",
    "draw-scene": "the desk's script, with the rectangle that was drawn",
    "propose": "fill-in colourists; a lead locks",
    "waive-mark": "from an open flag's panel; the world's flag is waived",
    "settle-subject": "from the list of what waits to be settled; in the world nothing does",
    "palette-tint": "from the tints in use; the world's address names bare paper, which nothing uses",
    "report-marks": "from figures of the report that are not nought; the world's one flag is waived",
    "bring-bible-rows": "sent there once a table is brought in",
    "bring-issues-rows": "sent there once a table is brought in",
    "bring-marks-rows": "sent there once a table is brought in",
    "bring-scenes-rows": "sent there once a table is brought in",
    "bring-waivers-rows": "sent there once a table is brought in",
    "bring-assignments-rows": "sent there once a table is brought in",
}
"""Pages that no link in the world leads to, and how people come to them."""


def hrefs(html: str, page: str) -> set[str]:
    """Where links, buttons and forms of a page lead, without what stands behind the “?”."""
    html = html[: html.index('<footer class="foot">')] if '<footer class="foot">' in html else html
    found = re.findall(r'(?:href|hx-get|hx-post|action)="([^"]+)"', html)
    return {urlsplit(urljoin(page, unescape(one))).path for one in found}


def test_every_page_is_found_and_every_link_leads_somewhere() -> None:
    world = World()
    client = Client()
    client.force_login(world.people[Membership.Role.LEAD])
    pages: dict[str, str] = {}
    led_to: set[str] = set()
    for address in ADDRESSES:
        arguments = world.arguments(address)
        inside = address.route.startswith(SERIES_PREFIX)
        path = url(address, world.series, arguments) if inside else reverse(full_name(address), kwargs=arguments)
        response = client.get(path)
        if response.status_code == 200 and not response.streaming and b"<html" in response.content[:200]:
            pages[path] = address.name
            if address.name != "look":  # its samples lead nowhere, and are inert
                led_to |= hrefs(response.content.decode(), path) - {path}
    for path in (f"{reverse('home')}?all", world.things["marks"].get_absolute_url()):
        led_to |= hrefs(client.get(path).content.decode(), path)
    assert len(pages) > 90
    unfound = {name: path for path, name in pages.items() if path not in led_to and name not in COME_TO_OTHERWISE}
    assert not unfound, sorted(unfound)
    for link in led_to:
        try:
            resolve(link)
        except Resolver404:
            assert link.startswith("/static/"), f"{link} leads nowhere"
