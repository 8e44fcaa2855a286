"""The guide desk as a colourist uses it: clicks, keys, wheel, and no script at all."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse

from bible.models import Series
from guides.models import Guide, Mark
from tests.browser.moves import centre_of, drag, fits, point_of_page, press, saved
from tests.factories import make_mark

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]


def test_a_mark_is_placed_typed_and_answered_without_a_page_load(
    visit: Visit, colourist: Any, guide: Guide, coat: Any
) -> None:
    page = visit(colourist, guide.get_absolute_url())
    loads: list[str] = []
    page.on("framenavigated", lambda frame: loads.append(frame.url))
    page.mouse.click(*point_of_page(page, 0.3, 0.4))
    page.locator("#panel h2", has_text="New mark").wait_for()
    assert page.locator(".pin-new").count() == 1
    page.wait_for_function("() => document.activeElement?.name === 'written'")
    page.keyboard.type("y r3 b2")
    page.keyboard.press("Tab")
    page.keyboard.type("ad co")
    page.locator("#part-options [role=option]").wait_for()
    assert page.locator("#part-options [role=option]").get_attribute("data-name") == "Ada Penn, work coat: coat"
    assert "YR3B2" in page.locator("#part-options [role=option]").inner_text(), "with its locked code"
    press(page, "Enter", "Agrees with the bible")
    assert page.locator(".pin-agrees").count() == 1
    assert page.locator(".pin-new").count() == 0
    assert page.locator("#mark-list tbody tr").count() == 1
    mark = Mark.objects.get()
    assert (mark.x, mark.y) == (pytest.approx(0.3, abs=0.01), pytest.approx(0.4, abs=0.01))
    page.fill("[name=written]", "YRB2")
    page.focus("[name=written]")
    press(page, "Enter", "Differs from the bible")
    assert page.locator(".pin-flagged").count() == 1
    assert "the bible says" in page.locator("#panel").inner_text().lower()
    assert loads == []


def test_the_page_takes_the_window_and_its_list_stands_beside_it(
    visit: Visit, colourist: Any, guide: Guide, coat: Any
) -> None:
    for _ in range(30):
        make_mark(guide, part=coat)
    page = visit(colourist, guide.get_absolute_url())
    page.set_viewport_size({"width": 1280, "height": 800})
    page.wait_for_function("() => document.querySelector('#paper img').getBoundingClientRect().height >= 630")
    picture, rows = (page.locator(one).bounding_box() for one in ("#paper img", ".side-list"))
    assert picture["y"] + picture["height"] <= 800
    assert rows["x"] > picture["x"] + picture["width"]
    assert rows["y"] + rows["height"] <= 850
    page.locator("#mark-list tbody tr").nth(29).scroll_into_view_if_needed()
    assert page.evaluate("() => scrollY") == 0, "the list has a scroll of its own"


def test_a_refused_mark_keeps_its_typing(visit: Visit, colourist: Any, guide: Guide, coat: Any) -> None:
    page = visit(colourist, guide.get_absolute_url())
    page.mouse.click(*point_of_page(page, 0.5, 0.5))
    page.fill("[name=written]", "YR2")
    page.fill("[name=part]", "nobody")
    page.focus("[name=part]")
    page.keyboard.press("Enter")
    page.locator("#panel .wrong", has_text="No part is called").wait_for()
    assert page.input_value("[name=written]") == "YR2"
    assert page.input_value("[name=part]") == "nobody"
    assert Mark.objects.count() == 0
    # The browser writes every refused answer to the console itself; that is no fault of the page.
    page.complaints[:] = [said for said in page.complaints if "422" not in said]


def test_a_mark_is_dragged_elsewhere(visit: Visit, colourist: Any, guide: Guide) -> None:
    mark = make_mark(guide, "YR", x=0.5, y=0.5)
    page = visit(colourist, guide.get_absolute_url())
    drag(page, centre_of(page, ".pin-disc"), point_of_page(page, 0.2, 0.8))
    saved(page, "Moved.")
    mark.refresh_from_db()
    assert (mark.x, mark.y) == (pytest.approx(0.2, abs=0.02), pytest.approx(0.8, abs=0.02))
    found = centre_of(page, ".pin-disc")
    assert found == pytest.approx(point_of_page(page, mark.x, mark.y), abs=2)


def test_a_mark_dragged_off_the_page_stands_where_it_was(visit: Visit, colourist: Any, guide: Guide) -> None:
    mark = make_mark(guide, "YR", x=0.5, y=0.5)
    page = visit(colourist, guide.get_absolute_url())
    before = centre_of(page, ".pin-disc")
    x, y = point_of_page(page, 1.0, 0.5)
    drag(page, before, (x + 40, y))
    assert centre_of(page, ".pin-disc") == pytest.approx(before, abs=1)
    mark.refresh_from_db()
    assert (mark.x, mark.y) == (0.5, 0.5)


def test_dragging_the_page_moves_it_and_places_nothing(visit: Visit, colourist: Any, guide: Guide) -> None:
    page = visit(colourist, guide.get_absolute_url())
    before = point_of_page(page, 0.5, 0.5)
    drag(page, before, (before[0] + 50, before[1] - 30))
    after = point_of_page(page, 0.5, 0.5)
    assert (after[0] - before[0], after[1] - before[1]) == pytest.approx((50, -30), abs=6)
    assert page.locator("#panel h2", has_text="New mark").count() == 0


def test_delete_and_undo(visit: Visit, colourist: Any, guide: Guide) -> None:
    mark = make_mark(guide, "YR")
    page = visit(colourist, mark.get_absolute_url())
    page.click("text=Delete this mark")
    saved(page, "Mark 1 deleted.")
    assert page.locator(".pin").count() == 0
    page.click("text=Undo: bring mark 1 back")
    saved(page, "Mark 1 is back.")
    assert page.locator(".pin").count() == 1
    assert Mark.objects.live().count() == 1


def test_the_wheel_keeps_the_point_under_the_cursor(visit: Visit, colourist: Any, guide: Guide) -> None:
    make_mark(guide, "YR", x=0.3, y=0.2)
    page = visit(colourist, guide.get_absolute_url())
    cursor = point_of_page(page, 0.7, 0.8)
    width = page.locator("#paper img").bounding_box()["width"]
    disc = page.locator(".pin-disc").bounding_box()["width"]
    page.mouse.move(*cursor)
    for _ in range(3):
        page.mouse.wheel(0, -200)
    page.wait_for_function(
        "(width) => document.querySelector('#paper img').getBoundingClientRect().width > 1.5 * width", arg=width
    )
    assert point_of_page(page, 0.7, 0.8) == pytest.approx(cursor, abs=1.5)
    assert page.locator(".pin-disc").bounding_box()["width"] == pytest.approx(disc, rel=0.05), "pins keep their size"
    page.keyboard.press("Tab")
    page.click("[data-view=whole]")
    assert page.locator("#paper img").bounding_box()["width"] == pytest.approx(width, rel=0.01)


def test_everything_by_keyboard(visit: Visit, colourist: Any, guide: Guide, coat: Any) -> None:
    page = visit(colourist, guide.get_absolute_url())
    page.focus("#stage")
    width = page.locator("#paper img").bounding_box()["width"]
    page.keyboard.press("+")
    assert page.locator("#paper img").bounding_box()["width"] == pytest.approx(width * 1.25, rel=0.01)
    page.keyboard.press("0")
    assert page.locator("#paper img").bounding_box()["width"] == pytest.approx(width, rel=0.01)
    page.keyboard.press("Alt+m")
    assert page.locator("[data-view=marks]").get_attribute("aria-pressed") == "false"
    page.keyboard.press("Alt+m")
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.activeElement?.name === 'written'")
    page.keyboard.type("yr")
    press(page, "Enter", "Background")
    mark = Mark.objects.get()
    assert (mark.x, mark.y) == (pytest.approx(0.5, abs=0.01), pytest.approx(0.5, abs=0.01))


def test_a_mark_moved_by_keys_keeps_the_focus(visit: Visit, colourist: Any, guide: Guide) -> None:
    first, second = make_mark(guide, "YR", x=0.5, y=0.5), make_mark(guide, "Y", x=0.2, y=0.2)
    page = visit(colourist, guide.get_absolute_url())
    page.locator(".pin").first.focus()
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    page.locator(".pin").nth(1).focus()
    page.keyboard.press("ArrowDown")
    saved(page, "Moved.")
    page.wait_for_function("() => document.querySelectorAll('.pin')[1].dataset.seen === '2'")
    page.wait_for_function("() => document.activeElement === document.querySelectorAll('.pin')[1]")
    first.refresh_from_db()
    second.refresh_from_db()
    assert first.x == pytest.approx(0.506, abs=0.001), "leaving a mark does not forget where it went"
    assert second.y == pytest.approx(0.202, abs=0.001)


def test_a_flag_leads_straight_to_its_mark(visit: Visit, colourist: Any, guide: Guide, coat: Any) -> None:
    make_mark(guide, "Y", x=0.1, y=0.1)
    make_mark(guide, "YRB2", part=coat, x=0.9, y=0.9)
    page = visit(colourist, reverse("flags", args=[guide.series.slug]))
    page.click(".flag-where")
    page.locator("#panel h2", has_text="Mark 2").wait_for()
    stage = page.locator("#stage").bounding_box()
    x, y = point_of_page(page, 0.9, 0.9)
    assert stage["x"] < x < stage["x"] + stage["width"]
    assert stage["y"] < y < stage["y"] + stage["height"]


def test_looking_up_as_one_types(visit: Visit, colourist: Any, series: Series, coat: Any) -> None:
    page = visit(colourist, reverse("lookup", args=[series.slug]), viewport={"width": 360, "height": 720})
    page.locator("#main [name=q]").press_sequentially("ad co")
    page.locator("#found .found-name", has_text="Ada Penn").wait_for()
    assert "YR3B2" in page.locator("#found").inner_text()
    page.wait_for_function("() => new URLSearchParams(location.search).get('q') === 'ad co'")
    page.locator("#main [name=q]").press_sequentially("zzz")
    page.locator("#found .empty", has_text="No part fits").wait_for()
    fits(page, page.viewport_size["width"])


def test_filters_answer_in_place(visit: Visit, colourist: Any, guide: Guide, coat: Any) -> None:
    make_mark(guide, "YRB2", part=coat)
    make_mark(guide, "??", part=coat)
    page = visit(colourist, reverse("flags", args=[guide.series.slug]))
    assert page.locator(".flag").count() == 2
    page.select_option("[name=kind]", "unreadable")
    page.wait_for_function("() => document.querySelectorAll('.flag').length === 1")
    assert "kind=unreadable" in page.url


def test_a_mark_is_edited_deleted_and_brought_back_without_scripts(
    visit: Visit, colourist: Any, guide: Guide, coat: Any
) -> None:
    mark = make_mark(guide, "YRB2", part=coat)
    page = visit(colourist, reverse("flags", args=[guide.series.slug]), java_script_enabled=False)
    page.click(".flag-where")
    assert "Differs from the bible" in page.locator("#panel").inner_text()
    page.fill("[name=written]", "YR3B2")
    page.click("#panel button:has-text('Save')")
    assert "Agrees with the bible" in page.locator("#panel").inner_text()
    page.fill("[name=part]", "nobody")
    page.click("#panel button:has-text('Save')")
    assert "No part is called" in page.locator("#panel").inner_text()
    assert page.input_value("[name=part]") == "nobody"
    page.goto(mark.get_absolute_url())
    page.click("text=Delete this mark")
    assert "Mark 1 deleted." in page.locator("body").inner_text()
    page.click("text=Undo: bring mark 1 back")
    assert "Mark 1 is back." in page.locator("body").inner_text()
    page.click("text=add one without clicking")
    page.fill("[name=written]", "Y2")
    page.click("text=Place it")
    assert Mark.objects.live().count() == 2
    page.complaints[:] = [said for said in page.complaints if "422" not in said]


def test_the_look_up_and_the_bible_work_without_scripts(
    visit: Visit, colourist: Any, series: Series, coat: Any
) -> None:
    page = visit(colourist, reverse("lookup", args=[series.slug]), java_script_enabled=False)
    page.fill("#main [name=q]", "coat")
    page.click("text=Show")
    assert "YR3B2" in page.locator("#found").inner_text()
    page.goto(reverse("bible", args=[series.slug]))
    page.fill("#main [name=q]", "zzz")
    page.click("text=Show")
    assert "Nothing by that name" in page.locator("#subjects").inner_text()
