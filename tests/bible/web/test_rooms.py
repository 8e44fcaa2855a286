"""The bar over a series' pages: every page stands in exactly one room."""

from __future__ import annotations

import re
from http import HTTPStatus
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bible.colour.tints import Tint
from bible.models import Membership
from bible.templatetags.rooms import ELSEWHERE, ROOMS, room_of
from tests.factories import make_part, make_series
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
        ("palette-tint", [Tint()], ("true", "Palette")),
        ("tint", [Tint()], ("true", "Chart")),
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


BAR = 'aria-label="Rooms of this series"'


@pytest.mark.django_db
def test_a_refusal_keeps_the_bar(series: Any) -> None:
    guest = member_client(series, Membership.Role.GUEST)
    refused = guest.get(reverse("new-subject", args=[series.slug]))
    bar = refused.content.decode().split(BAR)[1].split("</nav>")[0]
    assert refused.status_code == HTTPStatus.FORBIDDEN
    assert re.findall(r'aria-current="(\w+)">([\w-]+)', bar) == [("true", "Bible")]
    assert series.title in refused.content.decode()
    assert ">Proposals</a>" not in bar, "it is the guest's own bar"


@pytest.mark.django_db
def test_what_is_not_there_keeps_the_bar_for_members(series: Any) -> None:
    missing = member_client(series, Membership.Role.GUEST).get(reverse("subject", args=[series.slug, 10**6]))
    assert missing.status_code == HTTPStatus.NOT_FOUND
    assert BAR in missing.content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize("name", ["series", "new-subject", "subject"])
def test_whoever_is_no_member_learns_nothing(series: Any, name: str) -> None:
    """The page is the same as for a series that does not exist."""
    stranger = member_client(make_series(slug="their-own"), Membership.Role.LEAD)
    subject = make_part(series).costume.subject
    more = [subject.pk] if name == "subject" else []
    said = [stranger.get(reverse(name, args=[slug, *more])) for slug in (series.slug, "no-such-series")]
    told = r'value="[^"]*"|"X-CSRFToken": "\w+"|&quot;\w{64}&quot;'  # the address that was asked for, and the form's tokens
    theirs, nothing = (re.sub(told, "", page.content.decode()) for page in said)
    assert [page.status_code for page in said] == [HTTPStatus.NOT_FOUND] * 2
    assert series.title not in theirs
    assert BAR not in theirs
    assert theirs == nothing
