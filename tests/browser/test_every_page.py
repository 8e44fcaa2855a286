"""Every page of the URLconf in a browser: nothing in the way of anybody, nothing that jumps, nothing heavy.

axe-core judges each page light, dark and in forced colours, narrow (320 px, which is 1280 at four times the size)
and wide: as the lead sees it, and as others do where they see
something else, refusals and the answers to forms included. The pages are those of the role matrix' world, with more
marks; a page that is added to the URLconf is walked without being named here.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any

import pytest
from django.test import Client, RequestFactory
from django.urls import reverse

from bible.models import Membership
from bible.web.limits import SIGN_IN, TooMany
from bible.web.middleware import too_many
from bible.web.views import broken
from tests.browser.walk import ALL_RULES, GREYS, NARROW, WIDE, Walker, shapes_of
from tests.built_once import Visitor
from tests.factories import make_mark, make_part, make_series
from tests.pages import client_of
from tests.world import ADDRESSES, SERIES_PREFIX, World, full_name, url

# Pages are the same on either database, and walking them takes a minute.
pytestmark = [pytest.mark.browser, pytest.mark.backend("sqlite"), pytest.mark.django_db(transaction=True)]

Role = Membership.Role


def a_fuller_world() -> World:
    """The world with a mark of every standing on its guide, and a series with nothing in it."""
    world = World()
    guide, part, lead = world.things["guides"], world.things["parts"], world.people[Role.LEAD]
    bare = make_part(costume=part.costume, name="belt")
    for written, on in [("YR3B2", part), ("YR3", part), ("YR4", part), ("Y2", bare), ("B3", None)]:
        make_mark(guide, written, part=on, by=lead)
    Membership.objects.create(series=make_series(slug="empty"), user=lead, role=Role.LEAD)
    return world


DEALT = 4
"""Into how many walks the addresses are dealt out: one walk of two minutes would keep all other cores waiting."""


def dealt(world: World, hand: int) -> list[str]:
    """Every fourth address, so that long and short pages of a room are spread over the walks."""
    return list(paths_of(world))[hand::DEALT]


def paths_of(world: World) -> Iterator[str]:
    """Every address, and pages that an address alone does not show."""
    for address in ADDRESSES:
        arguments = world.arguments(address)
        inside = address.route.startswith(SERIES_PREFIX)
        yield url(address, world.series, arguments) if inside else reverse(full_name(address), kwargs=arguments)
    series, mark = world.series, world.things["marks"]
    yield f"{reverse('home')}?all"
    yield mark.get_absolute_url()
    yield f"{reverse('flags', args=[series.slug])}?standing=waived"
    yield f"{reverse('lookup', args=[series.slug])}?q=coat"
    yield f"{reverse('bible', args=[series.slug])}?q=nothing-like-it&issue=99"
    yield reverse("join", args=[world.token])
    for room in ("series", "bible", "issues", "palette", "flags", "proofs", "people", "continuity-report"):
        yield reverse(room, args=["empty"])
    yield "/there-is-no-such-page/"


@dataclass(frozen=True)
class Seen:
    """A page that somebody gets: by its address alone, or as the answer to what they sent."""

    path: str
    sent: bool
    status: int
    html: str


def seen_by(visitor: Visitor, asked: Iterable[tuple[str, bool]]) -> Iterator[Seen]:
    """The pages somebody gets who goes to addresses, or sends their forms empty; nothing stays done."""
    for path, sent in asked:
        response = visitor.ask("post" if sent else "get", path)
        if not response.streaming and b"<html" in response.content[:200]:
            yield Seen(path, sent, response.status_code, response.content.decode())


def seen_by_all(world: World, paths: list[str]) -> Iterator[tuple[Client, list[Seen]]]:
    """Each person's pages, the lead's first: where a lead gets no page, nobody does."""
    lead, *others = [*(Visitor(world.people[role]) for role in Role), Visitor(None)]
    pages = list(seen_by(lead, [(path, sent) for path in paths for sent in (False, True)]))
    yield lead.client, pages
    for visitor in others:
        yield visitor.client, list(seen_by(visitor, [(page.path, page.sent) for page in pages]))


def seen_when_things_go_wrong() -> Iterator[Seen]:
    """Pages that stand at no address of their own."""
    request = RequestFactory().get("/")
    stale = Client(enforce_csrf_checks=True).post(reverse("new-series"))
    for page in (broken(request), too_many(request, TooMany(SIGN_IN, 9)), stale):
        yield Seen(f"/answers-{page.status_code}/", True, page.status_code, page.content.decode())


class Judged:
    """What has been judged at each address, so that it is not judged again for everybody who sees the same."""

    def __init__(self) -> None:
        self.shapes: dict[str, set[tuple[str, ...]]] = defaultdict(set)

    def new(self, seen: Seen) -> bool:
        """Whether the page holds anything that was not there for others; it is taken for judged from now on.

        The bar over every page counts as one page, and so does what those get who may not come in, wherever they try,
        and what refused forms have more than the forms themselves.
        """
        bar, main = seen.html.split("<main", 1) if "<main" in seen.html else ("", seen.html)
        shapes = shapes_of(f"<main{main}")
        if seen.status == HTTPStatus.UNPROCESSABLE_ENTITY:
            shapes -= self.shapes[seen.path]
        at = seen.path if seen.status == HTTPStatus.OK else str(seen.status)
        return any([self._add("bar", shapes_of(bar)), self._add(at, shapes)])

    def _add(self, at: str, shapes: set[tuple[str, ...]]) -> bool:
        before = len(self.shapes[at])
        self.shapes[at] |= shapes
        return len(self.shapes[at]) > before


def walk(walker: Walker, pages: list[Seen], judged: Judged) -> int:
    """Judge what is new of somebody's pages; how many that were."""
    pages = [seen for seen in pages if judged.new(seen)]
    for seen in pages:
        if seen.sent:
            walker.visit_answer(seen.path, seen.html)
        else:
            walker.visit(seen.path)
    return len(pages)


def opened(chromium: Any, live_server: Any, client: Client) -> Any:
    """A window of the browser in which the client's person is signed in, if anybody is."""
    context = chromium.new_context(base_url=live_server.url, service_workers="block", reduced_motion="reduce")
    if key := client.cookies.get("sessionid"):
        context.add_cookies([{"name": "sessionid", "value": key.value, "url": live_server.url}])
    return context


def at_rest(walker: Walker) -> None:
    """Close the window once all that it asked is answered: the database is emptied after this."""
    walker.page.wait_for_load_state("networkidle")
    walker.page.context.close()


@pytest.mark.parametrize("hand", range(DEALT))
def test_every_page_for_everybody(chromium: Any, live_server: Any, hand: int) -> None:
    world = a_fuller_world()
    judged, faults, counted = Judged(), list[str](), list[int]()
    for client, pages in seen_by_all(world, dealt(world, hand)):
        # The lead's pages are loaded narrow, so that what moves on a phone is seen; the others' are loaded wide.
        widths = (WIDE, NARROW) if counted else (NARROW, WIDE)
        walker = Walker(opened(chromium, live_server, client).new_page(), *widths)
        counted.append(walk(walker, pages, judged))
        faults += walker.faults
        at_rest(walker)
    assert faults == [], f"{len(faults)} faults:\n" + "\n".join(faults)
    assert counted[0] > 120 / DEALT, "the walk found the pages"
    assert any(counted[1:]), f"others see what the lead does not: {counted}"


def test_what_stands_at_no_address(chromium: Any, live_server: Any) -> None:
    walker = Walker(opened(chromium, live_server, Client()).new_page())
    assert walk(walker, list(seen_when_things_go_wrong()), Judged()) == 3
    at_rest(walker)
    assert walker.faults == []


def test_no_address_is_left_out_of_the_walks() -> None:
    world = a_fuller_world()
    hands = [dealt(world, hand) for hand in range(DEALT)]
    assert sorted(path for hand in hands for path in hand) == sorted(paths_of(world))
    pages = [page for _, seen in seen_by_all(world, hands[0]) for page in seen]
    assert {page.status for page in pages} == {200, 403, 404, 422}, "refusals and answers to forms are among them"


def test_the_map_of_keys(chromium: Any, live_server: Any) -> None:
    client = client_of(World().people[Role.LEAD])
    walker = Walker(opened(chromium, live_server, client).new_page())
    walker.load("/", WIDE)
    walker.page.keyboard.press("?")
    walker.page.wait_for_selector("#keys-map[open] dl.keys")
    walker.judge("the map of keys", ["light", ALL_RULES], ["dark", GREYS])
    at_rest(walker)
    assert walker.faults == []


BAD = """<!doctype html><html lang="en-GB" data-theme="light"><head><title>Bad</title><style>
:root { color-scheme: light; } :root[data-theme="dark"] { color-scheme: dark; }
body { margin: 0; background: light-dark(white, black); color: #222; } div { width: 500px; } main { inline-size: auto; }
@media (forced-colors: active) { b { forced-color-adjust: none; color: #eee; background: #fff; } }
nav a { display: inline-block; font-size: 8px; line-height: 1; } @media (min-width: 600px) { nav { display: none; } }
</style></head><body><nav><a href="a">a</a><a href="b">b</a></nav>
<main id="main"><p>Hardly seen in the dark</p><b>Forced</b><div>wide</div><p><a href="/one">On</a></p><p><a href="/two">On</a></p><input></main><script>console.error("amiss")</script></body></html>"""


def test_the_judges_see_what_is_wrong(chromium: Any) -> None:
    """A page with faults of each sort, so that silence above means something."""
    context = chromium.new_context(base_url="http://bad.example")
    walker = Walker(context.new_page(), WIDE, NARROW)
    walker.page.route("**/*", lambda route: route.fulfill(body=BAD, content_type="text/html"))
    walker.visit("/bad/")
    context.close()
    told = "\n".join(walker.faults)
    assert "/bad/: error: amiss" in told
    assert "180 px wider than 320" in told
    assert "wider than 1280" not in told
    assert "1280 px, light, label: input" in told
    assert "1280 px, dark, color-contrast: p" in told
    assert "/bad/, forced colours: 1280 px, light, color-contrast: b" in told
    assert "/bad/: 1280 px, light, color-contrast: b" not in told
    assert "called alike: On: /one, /two" in told
    assert "light, color-contrast: p" not in told
    assert "320 px, dark, target-size: a" in told
    assert "1280 px, light, target-size" not in told


def test_only_what_others_saw_is_passed_over() -> None:
    judged = Judged()
    bar, main = "<body><header><a href='/'>Home</a></header>", "<main><p>Words</p></main>"
    assert judged.new(Seen("/a/", False, 200, bar + main))
    assert not judged.new(Seen("/a/", False, 200, bar + main.replace("Words", "Other words")))
    assert judged.new(Seen("/b/", False, 200, bar + main)), "another address"
    assert judged.new(Seen("/a/", False, 200, bar + "<main><p class='new'>Words</p></main>"))
    assert judged.new(Seen("/a/", False, 200, bar.replace("<a ", "<a class='new' ") + main))
    assert judged.new(Seen("/a/", False, 403, bar + main))
    assert not judged.new(Seen("/b/", True, 403, bar + main)), "they are the same wherever one tried"
    refused = main.replace("<p>", "<p class='wrong'>No.</p><p>")
    assert judged.new(Seen("/a/", True, 422, bar + refused))
    assert not judged.new(Seen("/b/", True, 422, bar + refused)), "another form, refused in the same way"
