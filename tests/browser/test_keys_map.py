"""The map of keys: there at “?”, out of the way while somebody writes, and switched off for good.

Single keys act on what has the focus, never while somebody writes; “?”, and at a proof the keys that decide, act
everywhere and can be switched off in the map (WCAG 2.1.4). The words for keys stand once, in ``bible/web/keys``.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from bible.models import Series
from guides.models import Guide

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_it_opens_and_closes_and_gives_the_focus_back(
    visit: Callable[..., Any], colourist: Any, series: Series
) -> None:
    page = visit(colourist, f"/s/{series.slug}/bible/")
    page.locator(".rooms a").nth(1).focus()
    page.keyboard.press("?")
    page.wait_for_selector("#keys-map[open] dl.keys")
    assert "On every page" in page.inner_text("#keys-map")
    page.keyboard.press("Escape")
    assert not page.locator("#keys-map").is_visible()
    assert page.evaluate("document.activeElement.closest('.rooms') !== null")
    page.keyboard.press("?")
    page.wait_for_selector("#keys-map[open]")
    page.keyboard.press("?")
    assert not page.locator("#keys-map").is_visible()


def test_no_key_acts_while_somebody_writes(visit: Callable[..., Any], colourist: Any, guide: Guide) -> None:
    page = visit(colourist, guide.get_absolute_url())
    page.click("#stage")
    page.wait_for_selector("#panel [name=written]")
    page.focus("#panel [name=written]")
    page.keyboard.type("gr?pm0")
    assert page.input_value("#panel [name=written]") == "gr?pm0"
    assert not page.locator("#keys-map").is_visible()
    assert page.get_attribute('[data-mode="mark"]', "aria-pressed") == "true"
    assert "marks-hidden" not in page.get_attribute("#stage", "class")


def test_at_the_desk_its_own_keys_come_first(visit: Callable[..., Any], colourist: Any, guide: Guide) -> None:
    page = visit(colourist, guide.get_absolute_url())
    page.focus("#stage")
    page.keyboard.press("?")
    page.wait_for_selector("#keys-map[open] dl.keys")
    assert page.locator("#keys-map section h2").first.inner_text() == "At a page guide"


def test_it_can_be_switched_off_where_single_keys_are_in_the_way(
    visit: Callable[..., Any], colourist: Any, series: Series
) -> None:
    page = visit(colourist, f"/s/{series.slug}/")
    page.click("a[data-keys]")
    page.wait_for_selector("#keys-map[open] [data-keys-switch]")
    page.uncheck("#keys-map [data-keys-switch]")
    page.click("#keys-map [data-close]")
    page.keyboard.press("?")
    assert not page.locator("#keys-map").is_visible()
    page.goto("/help/keys/")
    assert not page.is_checked("#main [data-keys-switch]")
    page.check("#main [data-keys-switch]")
    page.keyboard.press("?")
    page.wait_for_selector("#keys-map[open]")


def test_greys_change_on_the_spot_and_nothing_typed_is_lost(
    visit: Callable[..., Any], colourist: Any, guide: Guide
) -> None:
    page = visit(colourist, f"/s/{guide.series.slug}/bible/", color_scheme="light")
    page.fill("#main [name=q]", "a coat")
    light = page.evaluate("getComputedStyle(document.body).backgroundColor")
    with page.expect_response("**/theme/"):
        page.click('.themes [value="dark"]')
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") != light
    assert page.input_value("#main [name=q]") == "a coat"
    page.reload()
    assert page.get_attribute("html", "data-theme") == "dark"


def test_greys_that_were_not_kept_are_not_shown(visit: Callable[..., Any], colourist: Any, series: Series) -> None:
    page = visit(colourist, f"/s/{series.slug}/bible/")
    page.route("**/theme/", lambda route: route.fulfill(status=200, body="elsewhere"))
    with page.expect_response("**/theme/"):
        page.click('.themes [value="dark"]')
    page.wait_for_selector('html[data-theme="system"]')
    assert page.get_attribute('.themes [value="system"]', "aria-pressed") == "true"


def test_without_javascript_both_are_pages_and_forms(
    visit: Callable[..., Any], colourist: Any, series: Series
) -> None:
    page = visit(colourist, f"/s/{series.slug}/flags/", java_script_enabled=False)
    page.click('.themes [value="light"]')
    assert page.url.endswith("/flags/")
    assert page.get_attribute("html", "data-theme") == "light"
    page.click("a[data-keys]")
    assert page.url.endswith("/help/keys/")
    assert page.locator("dl.keys").count() >= 4
