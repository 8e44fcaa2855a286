"""The focus is never dropped, what is needed says so, and what is on can be seen in forced colours."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse

from guides.models import Guide, Mark
from tests.browser.moves import place, queue_is_empty
from tests.factories import make_mark, make_member

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]

FOCUSED = """() => document.activeElement?.closest("[data-step]")?.dataset.step ?? document.activeElement?.id ?? ""
"""


def test_taking_steps_by_keys_keeps_the_focus_on_the_steps(visit: Visit, colourist: Any, guide: Guide) -> None:
    page = visit(colourist, guide.get_absolute_url())
    place(page, (0.3, 0.3), "YR")
    place(page, (0.6, 0.3), "B2")
    queue_is_empty(page)
    page.locator('[data-step="undo"] button').focus()
    for left, holder in ((1, "undo"), (0, "redo")):
        page.keyboard.press("Enter")
        page.wait_for_function("(n) => document.querySelectorAll('#overlay .pin').length === n", arg=left)
        page.wait_for_function(f"(holder) => ({FOCUSED.strip()})() === holder", arg=holder)
    for left, holder in ((1, "redo"), (2, "undo")):
        page.keyboard.press("Enter")
        page.wait_for_function("(n) => document.querySelectorAll('#overlay .pin').length === n", arg=left)
        page.wait_for_function(f"(holder) => ({FOCUSED.strip()})() === holder", arg=holder)
    queue_is_empty(page)
    assert Mark.objects.live().count() == 2


def test_a_deed_in_the_panel_leaves_the_focus_on_the_page(visit: Visit, colourist: Any, guide: Guide) -> None:
    page = visit(colourist, make_mark(guide, "YR").get_absolute_url())
    page.locator("#panel button", has_text="Delete this mark").focus()
    page.keyboard.press("Enter")
    page.locator("#panel .said", has_text="deleted").wait_for()
    assert page.evaluate("() => document.activeElement !== document.body")


def test_words_that_are_needed_are_asked_for_and_get_the_focus(visit: Visit, guide: Guide) -> None:
    make_mark(guide, "??")  # something is open
    editor = make_member(guide.series, "editor", username="hanna")
    page = visit(editor, reverse("issue-check", args=[guide.series.slug, guide.issue_id]))
    label = page.locator("label", has_text="In your words")
    assert "optional" not in label.inner_text()
    page.locator("button", has_text="Sign off all the same").focus()
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.activeElement?.name === 'words'")
    # Spaces are no words; the server says so, and the field has the focus again.
    page.keyboard.type("  ")
    page.locator("button", has_text="Sign off all the same").focus()
    with page.expect_navigation():
        page.keyboard.press("Enter")
    page.wait_for_function("() => document.activeElement?.name === 'words'")
    assert "say why it goes out all the same" in page.locator(".field-wrong").inner_text()
    page.complaints[:] = [said for said in page.complaints if "422" not in said]
    # Putting it in check needs none.
    page.locator("button", has_text="Put in check").focus()
    with page.expect_navigation():
        page.keyboard.press("Enter")
    guide.issue.refresh_from_db()
    assert guide.issue.in_check_at


def test_which_tool_is_on_is_seen_in_forced_colours(visit: Visit, colourist: Any, guide: Guide) -> None:
    page = visit(colourist, guide.get_absolute_url(), forced_colors="active")
    look = """() => Array.from(document.querySelectorAll("[data-mode]"), (one) => getComputedStyle(one).backgroundColor)"""
    mark, arrow, scene = page.evaluate(look)
    assert mark != arrow == scene
    page.keyboard.press("Alt+g")
    mark, arrow, scene = page.evaluate(look)
    assert arrow != mark == scene
