"""Marks that were answered one by one stand on the desk as a page opened anew shows them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from bible.models import Part
from guides.models import Guide, Mark
from tests.browser.moves import centre_of, field_has_focus, place, point_of_page, queue_is_empty
from tests.factories import make_mark

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]

# What the pointer happens to lie on is no part of what was answered.
DRAWN = """() => {
  for (const one of document.querySelectorAll(".pin-near, .row-near")) one.classList.remove("pin-near", "row-near");
  return ({
    overlay: Array.from(document.querySelectorAll("#overlay > *"), (one) => one.outerHTML.replace(/\\s+/g, " ")).sort(),
    names: new Set(Array.from(document.querySelectorAll("#overlay *"), (one) => one.namespaceURI)).size,
    list: Array.from(document.querySelectorAll("#mark-list tbody tr"), (row) => row.outerHTML.replace(/\\s+/g, " ").replace(' class=""', "")),
    count: document.getElementById("mark-count").outerHTML,
    steps: Array.from(document.querySelectorAll("#desk-steps button"), (button) => [button.title, button.disabled]),
  });
}"""


def test_the_desk_is_as_if_opened_anew_after_every_mark(
    visit: Visit, colourist: Any, guide: Guide, coat: Part
) -> None:
    page = visit(colourist, guide.get_absolute_url(), viewport={"width": 1280, "height": 1000})
    alone: list[bool] = []
    page.on("response", lambda one: alone.append("beforeend" in one.text()) if "/new-mark" in one.url else None)
    said = [("YR3B2", "coat"), ("R", "coat"), ("yr > y2", ""), ("??", "coat")]
    for number, (code, part) in enumerate(said, 1):
        place(page, (0.15 * number, 0.2 + 0.1 * number), code, part)
        queue_is_empty(page)
        before = page.evaluate(DRAWN)
        newest = Mark.objects.latest("pk")
        assert page.locator("#mark-list tr.chosen").count() == 1
        # Nothing is on its way any more: leaving then breaks nothing off.
        page.locator("#panel .paint-says", has_text="it decides nothing").wait_for()
        page.goto(page.url.partition("?")[0] + f"?mark={newest.pk}")
        assert before == page.evaluate(DRAWN) | {"names": before["names"]}
        assert before["names"] == 1
    assert alone == [False, True, True, True]


def test_a_mark_of_somebody_else_comes_with_the_next_answer_and_pins_work_at_once(
    visit: Visit, colourist: Any, guide: Guide, coat: Part
) -> None:
    page = visit(colourist, guide.get_absolute_url(), viewport={"width": 1280, "height": 1000})
    place(page, (0.2, 0.2), "YR3B2", "coat")
    place(page, (0.4, 0.4), "R", "coat")
    second = Mark.objects.latest("pk")
    # Its pennant stands above its place, whose very point is the pennant's edge: who opens it clicks on the disc.
    queue_is_empty(page)
    page.mouse.click(*centre_of(page, f'[data-mark$="/{second.pk}/"] .pin-disc'))
    page.locator("#panel h2", has_text=f"Mark {second.number}").wait_for()
    make_mark(guide, "B2", x=0.9, y=0.9)
    page.keyboard.press("Escape")
    page.mouse.click(*point_of_page(page, 0.6, 0.2))
    field_has_focus(page, "written")
    page.keyboard.type("Y")
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.querySelectorAll('#mark-list tbody tr').length === 4")
    assert page.locator("#overlay .pin").count() == 4
