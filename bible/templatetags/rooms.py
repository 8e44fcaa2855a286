"""The rooms of a series in the bar over its pages, and which of them the page at hand stands in.

An address whose first word stands in no room, or in two, fails a test.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django import template
from django.template.context import Context

from bible.activity.services import has_news
from bible.models import Membership, Series
from bible.models.permissions import Permission
from bible.web.views import TOPICS, Topic

register = template.Library()


@dataclass(frozen=True)
class BarRoom:
    """An entry of the bar; ``name`` is its page's, ``inside`` the first words of the addresses that belong to it."""

    name: str
    label: str
    inside: frozenset[str]
    for_crew: bool = False


def _room(name: str, label: str, inside: str, *, for_crew: bool = False) -> BarRoom:
    return BarRoom(name, label, frozenset(inside.split()), for_crew)


GROUPS = (
    (
        "Work",
        (
            BarRoom("series", "Today", frozenset({"", "settings"})),
            _room(
                "issues",
                "Issues",
                "issues assignments guides marks arrivals carries scene-areas waivers paint found-codes",
            ),
            _room("flags", "Flags", "flags fades sinking report"),
            _room("proofs", "Proofs", "proofs proof-readings"),
            _room("proposals", "Proposals", "proposals", for_crew=True),
        ),
    ),
    (
        "Colour",
        (
            _room(
                "bible",
                "Bible",
                "bible subjects costumes costume-pictures parts locks editions booklets settle archived regroupings "
                "bring-in",
            ),
            _room("lookup", "Look-up", "look-up pocket search"),
            _room("chart", "Chart", "chart charts chart-sheets chart-scans press notation roles"),
            _room("palette", "Palette", "palette"),
            _room("scenes", "Scenes", "scenes"),
        ),
    ),
    (
        "House",
        (
            _room("going-out", "Sign-off", "going-out signings"),
            _room("activity", "Activity", "activity work"),
            _room("people", "People", "people invitations tokens webhooks"),
        ),
    ),
)
"""The bar in three: what is worked at, what a colour is, and the house."""

ROOMS = tuple(room for _, rooms_of in GROUPS for room in rooms_of)
ELSEWHERE = {
    "bring-issues": "issues",
    "bring-issues-rows": "issues",
    "bring-marks-table": "issues",
    "bring-marks-rows": "issues",
    "bring-scenes": "scenes",
    "bring-scenes-rows": "scenes",
    "bring-waivers": "flags",
    "bring-waivers-rows": "flags",
    "bring-assignments": "issues",
    "bring-assignments-rows": "issues",
    "issue-check": "going-out",
    "new-proof": "proofs",
}
"""Pages whose address begins with another room's word, since what they are about lives there."""


def room_of(route: str, name: str) -> str:
    """The name of the room that an address belongs to, by its route inside the series and its own name; none for an
    address that no room claims, which a test lets nobody add."""
    word = route.split("/")[0]
    return ELSEWHERE.get(name) or next((room.name for room in ROOMS if word in room.inside), "")


HELP = {
    "series": "trade",
    "going-out": "flags",
    "activity": "words",
    "people": "trade",
    "tokens": "words",
    "issues": "marking",
    "flags": "flags",
    "proofs": "flags",
    "proposals": "flags",
    "bible": "trade",
    "bring-in": "bringing-in",
    "lookup": "trade",
    "chart": "press",
    "palette": "press",
    "scenes": "trade",
    "found-codes": "found-codes",
}
"""By room, or by the page's own name, the page of help that is about it."""
HELP_OUTSIDE = {
    "account": "second-factor",
    "password": "second-factor",
    "notices": "words",
    "new-series": "bringing-in",
    "look": "words",
    "": "bringing-in",
}
"""The same for pages that stand in no series, by the first word of their address."""


@register.simple_tag(takes_context=True)
def help_here(context: Context) -> Topic | None:
    """The page of help about the page at hand; None where none is, or where it is help itself."""
    match = context["request"].resolver_match if "request" in context else None
    if match is None:
        return None
    _, inside, route = match.route.partition("<slug:slug>/")
    word = (route if inside else match.route).split("/")[0].lstrip("^")
    if inside:
        slug = HELP.get(word) or HELP.get(room_of(route.lstrip("^"), match.url_name))
    else:
        slug = HELP_OUTSIDE.get(word)
    return next((topic for topic in TOPICS if topic.slug == slug), None)


@register.simple_tag(takes_context=True)
def series_at_hand(context: Context) -> Series | None:
    """The series that a page is about. A page that refuses, or finds no such row, is given none by its view: there it
    is the member's, which somebody who is no member does not have."""
    membership: Membership | None = getattr(context.get("request"), "membership", None)
    return context.get("series") or (membership.series if membership else None)


@register.inclusion_tag("_rooms.html", takes_context=True)
def rooms(context: Context) -> dict[str, Any]:
    """The entries for this member; the room of the page is marked, and the page itself where it is one of them."""
    request, series = context["request"], context["series"]
    match, membership = request.resolver_match, getattr(request, "membership", None)
    here = room_of(match.route.partition("<slug:slug>/")[2].lstrip("^"), match.url_name) if match else ""
    may_discuss = membership is not None and membership.may(Permission.DISCUSS)
    groups = [
        (
            words,
            [
                (room, ("page" if room.name == match.url_name else "true") if room.name == here else "")
                for room in of_group
                if may_discuss or not room.for_crew
            ],
        )
        for words, of_group in GROUPS
    ]
    edition = getattr(request, "edition", None)
    kept = f"?{urlencode({'edition': edition.name})}" if edition else ""
    return {
        "series": series,
        "groups": groups,
        "kept": kept,
        "something_new": membership is not None and has_news(membership),
    }
