"""What tests of the guide desk do over and over."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any


def centre_of(page: Any, selector: str) -> tuple[float, float]:
    """Where an element's middle is on the screen. The disc, because a flag's pin is drawn above its place."""
    box = page.locator(selector).first.bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def point_of_page(page: Any, x: float, y: float) -> tuple[float, float]:
    """Where a fraction of the picture is on the screen, once the page listens: the picture may be there before the
    scripts are, and a click that nobody hears is lost."""
    picture = page.locator("#stage #paper img")
    picture.wait_for()
    page.wait_for_load_state()
    box = picture.bounding_box()
    return box["x"] + x * box["width"], box["y"] + y * box["height"]


def fits(page: Any, width: int) -> None:
    """Nothing has to be pushed sideways. Told of a page whose style sheets are there: without them all is wider."""
    page.wait_for_load_state()
    assert page.evaluate("document.documentElement.scrollWidth") <= width, page.url


def drag(page: Any, start: tuple[float, float], end: tuple[float, float]) -> None:
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move(*end, steps=6)
    page.mouse.up()


def saved(page: Any, word: str) -> None:
    page.locator("#panel .said", has_text=word).wait_for()


def press(page: Any, key: str, word: str) -> None:
    """Press a key on the field that has the focus and wait for the panel's word."""
    page.keyboard.press(key)
    page.locator("#panel .answer-word", has_text=word).wait_for()


def field_has_focus(page: Any, name: str) -> None:
    page.wait_for_function("(name) => document.activeElement?.name === name", arg=name)


def place(page: Any, at: tuple[float, float], code: str, part: str = "") -> None:
    """Place a mark as a hand does, and wait for the server's answer."""
    before = page.locator("#mark-list tbody tr").count()
    page.mouse.click(*point_of_page(page, *at))
    page.keyboard.type(code)
    if part:
        page.keyboard.press("Tab")
        page.keyboard.type(part)
    page.keyboard.press("Enter")
    page.wait_for_function("(n) => document.querySelectorAll('#mark-list tbody tr').length === n", arg=before + 1)


def queue_is_empty(page: Any) -> None:
    """Everything that was done here has reached the server. Forty marks are typed faster than a busy machine takes them."""
    settled = "() => Object.keys(localStorage).every((name) => !name.startsWith('desk-kept:'))"
    page.wait_for_function(settled, timeout=60_000)


def until(page: Any, happened: Callable[[], object]) -> None:
    """Wait for something that is no matter of the page: a request caught on its way, a row in the database."""
    for _ in range(1200):
        if happened():
            return
        page.wait_for_timeout(50)
    raise AssertionError("It has not happened within a minute.")


def forgive(page: Any, *words: str) -> None:
    """The browser writes every refused or lost answer to the console itself; that is no fault of the page."""
    page.complaints[:] = [said for said in page.complaints if not any(word in said for word in words)]
