"""The session ends in another window while somebody writes: what was typed stands in its form again after signing in."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from bible.models import Lock, Part
from tests.browser.moves import forgive
from tests.factories import PASSWORD

pytestmark = [pytest.mark.browser, pytest.mark.every_database, pytest.mark.django_db(transaction=True)]

KEPT = "What you typed is kept in this window"
REFUSED = ("401", "403", "htmx:responseError")
AGAIN = "stands here again; nothing of it is saved yet"


def sign_in(page: Any, person: Any) -> None:
    """Fill in the form and wait for the page after it: a browser still on its way has no page to go back from."""
    page.fill("[name=username]", person.username)
    page.fill("[name=password]", PASSWORD)
    page.click("button.main")
    page.locator("[name=password]").wait_for(state="detached")
    page.wait_for_load_state()


@pytest.fixture
def at_the_lock(visit: Callable[..., Any], lead: Any, coat: Part) -> Any:
    page = visit(lead, coat.costume.subject.get_absolute_url())
    page.get_by_role("link", name="Lock a code").click()
    page.select_option("[name=role]", "shade")
    page.fill("[name=code]", "Y2")
    page.fill("[name=reason]", "“dusk”, <b>")
    return page


def sign_out_elsewhere(page: Any) -> Any:
    other = page.context.new_page()
    other.goto("/account/")
    other.click(".who")
    other.get_by_role("button", name="Sign out").click()
    other.get_by_role("button", name="Sign in").wait_for()
    return other


def test_a_lock_that_was_sent_too_late(at_the_lock: Any, lead: Any) -> None:
    page, other = at_the_lock, sign_out_elsewhere(at_the_lock)
    page.get_by_role("button", name="Lock", exact=True).click()
    page.get_by_text(KEPT).wait_for()
    sign_in(page, lead)
    page.get_by_text(AGAIN).wait_for()
    assert page.input_value("[name=role]") == "shade"
    assert page.input_value("[name=reason]") == "“dusk”, <b>"
    # Signed in anew elsewhere meanwhile: this window's form is of the session before.
    other.goto("/account/")
    other.click(".who")
    other.get_by_role("button", name="Sign out").click()
    sign_in(other, lead)
    other.locator(".who").wait_for()
    page.fill("[name=code]", "YR2")
    page.get_by_role("button", name="Lock", exact=True).click()
    page.get_by_role("link", name="Open the form again").click()
    page.get_by_text(AGAIN).wait_for()
    assert page.input_value("[name=code]") == "YR2"
    page.get_by_role("button", name="Lock", exact=True).click()
    page.get_by_text("is locked to YR2").wait_for()
    assert Lock.objects.filter(role="shade").get().reason == "“dusk”, <b>"
    page.get_by_role("link", name="Lock a code").click()
    assert page.input_value("[name=code]") == ""
    forgive(page, *REFUSED)


def test_nobody_else_finds_what_was_typed(at_the_lock: Any, colourist: Any, lead: Any) -> None:
    page = at_the_lock
    sign_out_elsewhere(page)
    page.get_by_role("button", name="Lock", exact=True).click()
    page.get_by_text(KEPT).wait_for()
    sign_in(page, colourist)
    page.goto("/account/")
    page.click(".who")
    page.get_by_role("button", name="Sign out").click()
    sign_in(page, lead)
    page.go_back()
    assert page.get_by_text(AGAIN).count() == 0
    forgive(page, *REFUSED)


def test_a_note_in_a_piece_of_a_page(visit: Callable[..., Any], colourist: Any, coat: Part) -> None:
    page = visit(colourist, coat.costume.subject.get_absolute_url())
    page.get_by_text("Every decision").click()
    page.locator("summary", has_text="Write a note").click()
    page.fill("textarea", "warm, not hot")
    other = sign_out_elsewhere(page)
    page.get_by_role("button", name="Keep it").click()
    page.get_by_text(KEPT).wait_for()
    sign_in(page, colourist)
    page.get_by_text(AGAIN).wait_for()
    other.goto("/account/")
    other.click(".who")
    other.get_by_role("button", name="Sign out").click()
    sign_in(other, colourist)
    other.locator(".who").wait_for()
    page.get_by_role("button", name="Keep it").click()
    page.get_by_text("load the page again and send it once more").wait_for()
    page.reload()
    page.get_by_text(AGAIN).wait_for()
    assert page.evaluate("() => document.activeElement.value") == "warm, not hot"
    forgive(page, *REFUSED)
