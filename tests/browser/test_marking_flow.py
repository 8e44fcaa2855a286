"""Forty marks by an experienced hand: how many keys, how many requests, and what a published model makes of them.

Counted, not timed: keys, pointings and requests; ``tests/benchmarks/test_marking_bench.py`` puts published operator
times to them. An average skilled typist with one mental preparation a mark: 3 min 10 s; with two, as for codes that
have to be looked for, 4 min 4 s.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import Any
from urllib.parse import urlsplit

import pytest

from bible.models import Part, Series
from guides.models import Agreement, Guide, Mark
from tests.browser.crowded_page import forty, make_cast
from tests.browser.hand import KEYSTROKE, Hand, seconds
from tests.browser.moves import field_has_focus, point_of_page, queue_is_empty, until
from tests.factories import make_lock

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]

FOUR_MINUTES = 240.0


ROOMY = {"width": 1920, "height": 1400}
"""On a smaller window the card of a mark lies over the place of the next, as soon as the answer has come: whoever is
slower than the server clicks on the card."""


def marking_by_typing(hand: Hand) -> None:
    """Place, code, Tab, two letters of the part, Enter: forty times, without waiting for any answer."""
    for one in forty():
        hand.think()
        hand.click(*point_of_page(hand.page, one.x, one.y))
        hand.type(one.code)
        if one.letters:
            hand.key("Tab")
            hand.type(one.letters)
        hand.key("Enter")


def place_named(hand: Hand, x: float, y: float, letters: str) -> None:
    """Place a mark by letters of its part; its locked code is offered, and taken by a second Enter."""
    hand.click(*point_of_page(hand.page, x, y))
    hand.key("Tab")
    hand.type(letters)
    hand.key("Enter")
    hand.key("Enter")


def offered(page: Any, chips: str = ".chip-choice") -> list[str]:
    return [" ".join(text.split()) for text in page.locator(f"#panel {chips}").all_inner_texts()]


def requests_of(page: Any) -> Counter[tuple[str, str]]:
    """What the page asks of the server from now on: method and last word of the address, pictures left out."""
    asked: Counter[tuple[str, str]] = Counter()

    def note(request: Any) -> None:
        if request.resource_type in ("document", "fetch", "xhr"):
            asked[(request.method, urlsplit(request.url).path.rstrip("/").rpartition("/")[2])] += 1

    page.on("request", note)
    return asked


def test_forty_marks_with_forty_requests_in_under_four_minutes(
    visit: Visit, colourist: Any, series: Series, guide: Guide
) -> None:
    make_cast(series)
    page = visit(colourist, guide.get_absolute_url(), viewport=ROOMY)
    page.wait_for_load_state("networkidle")
    asked = requests_of(page)
    hand = Hand(page)
    marking_by_typing(hand)
    queue_is_empty(page)
    marks = list(Mark.objects.live().order_by("number").with_names())
    expected = [(one.code, one.part) for one in forty()]
    assert [(mark.written, mark.part.name if mark.part else "") for mark in marks] == expected
    assert {mark.agreement for mark in marks} == {Agreement.AGREES, Agreement.BACKGROUND}
    places = [(mark.x, mark.y) for mark in marks]
    assert places == [(pytest.approx(one.x, abs=0.004), pytest.approx(one.y, abs=0.004)) for one in forty()]

    # What is typed ahead and what a form looks like is in the page already: one request a mark, which is the mark.
    # What the paint under it suggests may be asked for besides, and once where its areas lie; nobody waits for that.
    assert asked.pop(("POST", "new-mark")) == 40
    assert asked.pop(("GET", "areas"), 0) <= 1
    assert all(method == "GET" and word == "paint" and count <= 40 for (method, word), count in asked.items()), asked

    typed = sum(len(one.code) + len(one.letters) for one in forty())
    tabs = sum(1 for one in forty() if one.letters)
    assert hand.did == {"M": 40, "P": 40, "H": 79, "K": 40 + typed + tabs + 40}
    assert hand.did["K"] <= 40 * 9, "nine keys and buttons a mark"
    assert seconds(hand.did, KEYSTROKE["average skilled typist"]) < FOUR_MINUTES


def test_an_answer_that_comes_between_letters_and_enter_takes_no_part_away(
    visit: Visit, colourist: Any, series: Series, guide: Guide
) -> None:
    """Two parts begin with the letters and the code tells which: so does the list, whatever the server says meanwhile."""
    make_cast(series)
    page = visit(colourist, guide.get_absolute_url(), viewport=ROOMY)
    page.wait_for_load_state("networkidle")
    held: list[Any] = []

    def holds_the_first_answer(route: Any) -> None:
        if held:
            route.continue_()
        else:
            held.append((route, route.fetch()))

    page.route("**/new-mark", holds_the_first_answer)
    page.mouse.click(*point_of_page(page, 0.2, 0.2))
    page.keyboard.type("b2")
    page.keyboard.press("Enter")
    until(page, lambda: held)
    page.mouse.click(*point_of_page(page, 0.5, 0.5))
    page.keyboard.type("y2b2")
    page.keyboard.press("Tab")
    page.keyboard.type("gl")
    route, answer = held[0]
    route.fulfill(response=answer)
    page.wait_for_function("() => document.querySelectorAll('#mark-list tbody tr').length === 1")
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.querySelectorAll('#mark-list tbody tr').length === 2")
    second = Mark.objects.latest("pk")
    assert (second.part.name if second.part else "", second.written) == ("gloves", "y2b2")


def test_what_the_desk_offers_saves_keys(visit: Visit, colourist: Any, series: Series, guide: Guide) -> None:
    """The last subject's parts on number keys with their locked codes; the same as the issue before by one click."""
    make_cast(series)
    page = visit(colourist, guide.get_absolute_url(), viewport=ROOMY)
    page.wait_for_load_state("networkidle")
    hand = Hand(page)
    hand.click(*point_of_page(page, 0.2, 0.2))
    for key in ("Tab", "co", "Enter"):
        hand.type(key) if key == "co" else hand.key(key)
    assert page.locator("#panel .offer").inner_text().startswith("Locked here:"), "said, and not filled in"
    assert page.input_value("[name=written]") == ""
    assert Mark.objects.count() == 0
    hand.key("Enter")
    page.locator("#panel .answer-word", has_text="Agrees with the bible").wait_for()

    hand.did.clear()
    hand.click(*point_of_page(page, 0.5, 0.5))
    field_has_focus(page, "written")
    assert offered(page) == ["1 boots YR3B3", "2 hair YR2", "3 skin Y2R2", "4 scarf R3", "5 coat YR3B2"]
    hand.key("3")
    hand.key("Enter")
    page.wait_for_function("() => document.querySelectorAll('#mark-list tbody tr').length === 2")
    assert hand.did == {"P": 1, "K": 3, "H": 2}, "a button and two keys for part and code"
    second = Mark.objects.latest("pk")
    assert (second.part.name if second.part else "", second.written) == ("skin", "Y2R2")

    page.mouse.click(*point_of_page(page, 0.7, 0.7))
    field_has_focus(page, "written")
    page.keyboard.press("Tab")
    assert [text.split()[1] for text in offered(page)] == ["boots", "hair", "scarf", "coat", "skin"], (
        "what the page has comes last, and the part itself once more"
    )


def test_figures_over_the_page_take_what_is_foretold(
    visit: Visit, colourist: Any, series: Series, guide: Guide
) -> None:
    """The shade of the part just marked comes first; a figure begins its mark under the pointer, Enter takes its code."""
    make_cast(series)
    coat = Part.objects.get(name="coat")
    make_lock(coat, "YR", role="shade")
    page = visit(colourist, guide.get_absolute_url(), viewport=ROOMY)
    page.wait_for_load_state("networkidle")
    page.mouse.move(*point_of_page(page, 0.5, 0.5))
    page.keyboard.press("1")
    assert page.locator("#panel .mark-form").count() == 0, "nothing is offered yet, so nothing begins"
    hand = Hand(page)
    place_named(hand, 0.2, 0.2, "co")
    page.locator("#panel .answer-word", has_text="Agrees with the bible").wait_for()
    assert offered(page, ".foretold-one")[:2] == ["1 coat shade YR", "2 boots YR3B3"]
    hand.did.clear()
    hand.point(*point_of_page(page, 0.5, 0.5))
    hand.key("1")
    assert Mark.objects.count() == 1, "a figure chooses, Enter places"
    hand.key("Enter")
    page.wait_for_function("() => document.querySelectorAll('#mark-list tbody tr').length === 2")
    assert hand.did == {"P": 1, "K": 2, "H": 2}
    shade = Mark.objects.latest("pk")
    assert (shade.part, shade.role, shade.written, shade.agreement) == (coat, "shade", "YR", Agreement.AGREES)
    assert (shade.x, shade.y) == (pytest.approx(0.5, abs=0.004), pytest.approx(0.5, abs=0.004))
    page.keyboard.press("9")
    assert page.locator("#panel .mark-form [name=part]").input_value() != "", (
        "a figure without an offer changes nothing"
    )
    page.mouse.click(*point_of_page(page, 0.7, 0.7))
    page.keyboard.type("c25 m50")
    assert page.input_value("#panel [name=written]") == "c25 m50", "within a code figures are figures"


def test_forty_marks_by_number_keys_in_two_hundred_keys_and_clicks(
    visit: Visit, colourist: Any, series: Series, guide: Guide
) -> None:
    """The bar of the desk for a hand: a subject begins by its first letter and two of a part, its other
    parts follow by a figure.

    Which figure is read off the panel, where it is foretold, as a person reads it.
    """
    make_cast(series)
    page = visit(colourist, guide.get_absolute_url(), viewport=ROOMY)
    page.wait_for_load_state("networkidle")
    hand, subject = Hand(page), ""
    for one in forty():
        if not one.part:
            hand.click(*point_of_page(page, one.x, one.y))
            hand.type(one.code)
            hand.key("Enter")
        elif one.subject != subject:
            place_named(hand, one.x, one.y, one.subject[0].lower() + one.letters)
        else:
            figures = {text.split()[1]: text.split()[0] for text in offered(page, ".foretold-one")}
            hand.click(*point_of_page(page, one.x, one.y))
            hand.key(figures[one.part])
            hand.key("Enter")
        subject = one.subject or subject
    queue_is_empty(page)
    marks = list(Mark.objects.live().order_by("number").with_names())
    assert [(mark.written.lower(), mark.part.name if mark.part else "") for mark in marks] == [
        (one.code, one.part) for one in forty()
    ]
    assert {mark.agreement for mark in marks} == {Agreement.AGREES, Agreement.BACKGROUND}
    assert hand.did["K"] <= 200, "keys and buttons of forty marks"
