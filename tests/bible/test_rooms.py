"""The bar over a series' pages: every page stands in exactly one room."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bible.models import Membership
from bible.templatetags.rooms import ELSEWHERE, ROOMS, room_of
from tests.factories import make_part
from tests.pages import member_client
from tests.world import IN_SERIES, SERIES_PREFIX, Address


@pytest.mark.parametrize("address", IN_SERIES, ids=str)
def test_every_address_belongs_to_a_room(address: Address) -> None:
    route = address.route.removeprefix(SERIES_PREFIX).lstrip("^")
    assert room_of(route, address.name) in {room.name for room in ROOMS}


def test_no_word_stands_in_two_rooms() -> None:
    words = [word for room in ROOMS for word in room.inside]
    assert len(words) == len(set(words))
    assert set(ELSEWHERE) <= {address.name for address in IN_SERIES}


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("name", "arguments", "current"),
    [
        ("bible", [], ("page", "Bible")),
        ("subject", ["subject"], ("true", "Bible")),
        ("palette-tint", [0, 0, 0, 0], ("true", "Palette")),
        ("tint", [0, 0, 0, 0], ("true", "Chart")),
        ("report-marks", [], ("true", "Flags")),
        ("tokens", [], ("true", "People")),
    ],
)
def test_the_bar_says_where_one_is(
    lead_client: Client, series: Any, name: str, arguments: list[Any], current: tuple[str, str]
) -> None:
    subject = make_part(series).costume.subject
    path = reverse(name, args=[series.slug, *(subject.pk if one == "subject" else one for one in arguments)])
    bar = lead_client.get(path).content.decode().split('aria-label="Rooms of this series"')[1].split("</nav>")[0]
    assert re.findall(r'aria-current="(\w+)">([\w-]+)', bar) == [current]


@pytest.mark.django_db
def test_guests_are_not_led_to_proposals(series: Any) -> None:
    path = reverse("series", args=[series.slug])
    assert ">Proposals</a>" not in member_client(series, Membership.Role.GUEST).get(path).content.decode()
    assert ">Proposals</a>" in member_client(series, Membership.Role.FILL_IN).get(path).content.decode()
