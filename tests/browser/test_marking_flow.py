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

from bible.models import Series
from guides.models import Agreement, Guide, Mark
from tests.browser.crowded_page import forty, make_cast
from tests.browser.hand import KEYSTROKE, Hand, seconds
from tests.browser.moves import field_has_focus, point_of_page, queue_is_empty, until

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]

FOUR_MINUTES = 240.0


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
    page = visit(colourist, guide.get_absolute_url(), viewport={"width": 1280, "height": 1000})
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
    page = visit(colourist, guide.get_absolute_url(), viewport={"width": 1280, "height": 1000})
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
    page = visit(colourist, guide.get_absolute_url(), viewport={"width": 1280, "height": 1000})
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
    hand.key("Tab")
    chips = page.locator("#panel .chip-choice").all_inner_texts()
    assert [" ".join(text.split()) for text in chips] == [
        "1 boots YR3B3", "2 hair YR2", "3 skin Y2R2", "4 scarf R3",
    ]  # fmt: skip
    hand.key("3")
    hand.key("Enter")
    page.wait_for_function("() => document.querySelectorAll('#mark-list tbody tr').length === 2")
    assert hand.did == {"P": 1, "K": 4, "H": 2}, "a button and three keys for part and code"
    second = Mark.objects.latest("pk")
    assert (second.part.name if second.part else "", second.written) == ("skin", "Y2R2")

    page.mouse.click(*point_of_page(page, 0.7, 0.7))
    field_has_focus(page, "written")
    page.keyboard.press("Tab")
    chips = page.locator("#panel .chip-choice").all_inner_texts()
    assert [text.split()[1] for text in chips] == ["boots", "hair", "scarf", "coat"], "what the page has comes last"
