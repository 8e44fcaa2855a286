"""A line that breaks while somebody marks: nothing is lost, it is said so, and nothing is done twice."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from bible.models import Part
from guides.models import Deed, Guide, Mark
from tests.browser.moves import drag, forgive, place, point_of_page, queue_is_empty, saved, until
from tests.factories import PASSWORD, make_mark

pytestmark = [pytest.mark.browser, pytest.mark.every_database, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]

NEW_MARK = re.compile(r"/new-mark$")
LOST = ("net::ERR_", "Failed to load resource", "htmx:sendError")


def start_a_mark(page: Any, at: tuple[float, float], code: str) -> None:
    """Place a mark without waiting for an answer."""
    page.mouse.click(*point_of_page(page, *at))
    page.keyboard.type(code)
    page.keyboard.press("Enter")


def kept_says(page: Any, word: str) -> None:
    page.locator("#kept", has_text=word).wait_for()


def test_paint_that_cannot_be_asked_says_so_in_its_place_and_moves_nothing(
    visit: Visit, colourist: Any, guide: Guide
) -> None:
    page = visit(colourist, guide.get_absolute_url())
    page.wait_for_load_state("networkidle")
    stood = point_of_page(page, 0, 0)
    page.context.set_offline(True)
    page.mouse.click(*point_of_page(page, 0.3, 0.3))
    page.locator(".paint-asked", has_text="could not be asked").wait_for()
    assert point_of_page(page, 0, 0) == pytest.approx(stood)
    assert page.locator("ul.messages").count() == 0
    page.context.set_offline(False)
    forgive(page, *LOST, "htmx:")


def test_marks_of_a_broken_line_are_kept_said_and_sent_once(
    visit: Visit, colourist: Any, guide: Guide, coat: Part
) -> None:
    old = make_mark(guide, "Y2", x=0.8, y=0.2)
    page = visit(colourist, guide.get_absolute_url())
    page.wait_for_load_state("networkidle")
    stood = point_of_page(page, 0, 0)
    page.context.set_offline(True)
    page.mouse.click(*point_of_page(page, 0.3, 0.3))
    page.keyboard.type("yr3b2")
    page.keyboard.press("Tab")
    page.keyboard.type("ad co")
    assert page.locator("#part-options [role=option]").count() == 1, "the cast is known without a line"
    page.keyboard.press("Enter")
    kept_says(page, "1 change is kept in this browser")
    assert point_of_page(page, 0, 0) == pytest.approx(stood), "nothing moves under the hand"
    start_a_mark(page, (0.5, 0.5), "b2")
    start_a_mark(page, (0.6, 0.6), "rubbish")
    start_a_mark(page, (0.6, 0.6), "y")
    drag(page, point_of_page(page, 0.8, 0.2), point_of_page(page, 0.7, 0.3))
    kept_says(page, "5 changes are kept in this browser and will be sent by themselves")
    assert page.locator("#kept").get_attribute("role") == "status"
    assert "No connection to the server" in page.locator("#kept").inner_text()
    assert page.locator(".pin-kept").count() == 4, "where they stand is seen"
    page.locator("#kept li", has_text="rubbish").locator("button", has_text="Throw away").click()
    assert page.locator(".pin-kept").count() == 3
    page.keyboard.press("Tab")
    assert Mark.objects.count() == 1

    page.context.set_offline(False)
    queue_is_empty(page)
    page.locator("#kept").wait_for(state="hidden")
    page.wait_for_function("() => document.querySelectorAll('#overlay .pin').length === 4")
    assert page.locator(".pin-kept").count() == 0
    marks = Mark.objects.live().exclude(pk=old.pk).order_by("number")
    assert [(mark.written, mark.part) for mark in marks] == [("yr3b2", coat), ("b2", None), ("y", None)]
    old.refresh_from_db()
    assert (old.x, old.y) == pytest.approx((0.7, 0.3), abs=0.01)
    forgive(page, *LOST)


def test_a_tab_closed_with_work_in_it_and_opened_again(visit: Visit, colourist: Any, guide: Guide) -> None:
    page = visit(colourist, guide.get_absolute_url())
    context = page.context
    context.set_offline(True)
    start_a_mark(page, (0.2, 0.2), "yr")
    kept_says(page, "1 change is")
    start_a_mark(page, (0.4, 0.4), "y2")
    kept_says(page, "2 changes are")
    page.close()
    assert Mark.objects.count() == 0
    context.set_offline(False)
    # Opened twice at once: both windows find the same work waiting.
    first, second = context.new_page(), context.new_page()
    for one in (first, second):
        one.goto(guide.get_absolute_url(), wait_until="commit")
    for one in (first, second):
        queue_is_empty(one)
    assert list(Mark.objects.live().order_by("number").values_list("written", flat=True)) == ["yr", "y2"]
    assert Deed.objects.count() == 2
    forgive(page, *LOST)


def test_an_answer_that_got_lost_makes_no_second_mark(visit: Visit, colourist: Any, guide: Guide) -> None:
    page = visit(colourist, guide.get_absolute_url())
    lost: list[int] = []

    def loses_the_answer(route: Any) -> None:
        if len(lost) < 2:
            lost.append(route.fetch().status)
            route.abort()
        else:
            route.continue_()

    page.route(NEW_MARK, loses_the_answer)
    start_a_mark(page, (0.3, 0.3), "yr")
    kept_says(page, "No connection")
    assert Mark.objects.count() == 1, "the server has it, and the browser cannot know"
    page.click("#kept button:has-text('Send now')")
    until(page, lambda: len(lost) == 2)
    assert lost == [200, 200], "sent again, and answered as before"
    page.click("#kept button:has-text('Send now')")
    saved(page, "Saved before; nothing was done twice.")
    assert Mark.objects.count() == 1
    assert Deed.objects.count() == 1
    page.locator("#kept").wait_for(state="hidden")
    forgive(page, *LOST)


def test_what_the_server_does_not_take_is_said_and_can_be_opened(
    visit: Visit, colourist: Any, guide: Guide, coat: Part
) -> None:
    page = visit(colourist, guide.get_absolute_url())
    page.context.set_offline(True)
    page.mouse.click(*point_of_page(page, 0.3, 0.3))
    page.keyboard.type("yr2")
    page.keyboard.press("Tab")
    page.keyboard.type("nobody")
    page.keyboard.press("Enter")
    start_a_mark(page, (0.6, 0.6), "y")
    kept_says(page, "2 changes are")
    page.mouse.click(*point_of_page(page, 0.8, 0.2))
    page.keyboard.type("r")
    page.context.set_offline(False)
    kept_says(page, "No part is called")
    assert page.input_value("[name=written]") == "r", "what is being typed stays"
    assert Mark.objects.get().written == "y", "one that is refused holds no other up"
    page.click("#kept button:has-text('Open it')")
    assert (page.input_value("[name=written]"), page.input_value("[name=part]")) == ("yr2", "nobody")
    page.fill("[name=part]", "coat")
    page.click("#panel button.main")
    page.locator("#panel .answer-word").wait_for()
    assert Mark.objects.live().get(part=coat).written == "yr2"
    kept_says(page, "New mark: r")
    page.click("#kept button:has-text('Throw away')")
    page.locator("#kept").wait_for(state="hidden")
    forgive(page, *LOST)


def test_somebody_who_was_signed_out_signs_in_again_and_loses_nothing(
    visit: Visit, colourist: Any, guide: Guide
) -> None:
    page = visit(colourist, guide.get_absolute_url())
    page.context.clear_cookies(name="sessionid")
    start_a_mark(page, (0.3, 0.3), "yr")
    kept_says(page, "You are signed out. 1 change is kept in this browser")
    page.click("#kept a:has-text('Sign in')")
    page.fill("[name=username]", colourist.username)
    page.fill("[name=password]", PASSWORD)
    page.click("button.main")
    queue_is_empty(page)
    assert Mark.objects.get().written == "yr"
    forgive(page, *LOST)


def test_a_step_back_takes_what_was_not_sent_out_of_the_queue(visit: Visit, colourist: Any, guide: Guide) -> None:
    page = visit(colourist, guide.get_absolute_url())
    place(page, (0.2, 0.2), "yr")
    page.context.set_offline(True)
    start_a_mark(page, (0.4, 0.4), "y2")
    kept_says(page, "1 change is")
    page.focus("#stage")
    page.keyboard.press("Control+z")
    page.locator("#kept").wait_for(state="hidden")
    page.context.set_offline(False)
    queue_is_empty(page)
    assert Mark.objects.live().get().written == "yr"
    forgive(page, *LOST)
