"""A whole costume typed as fast as in a spreadsheet: swatches as one types, arrows, a paste, Enter."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse

from bible.models import Lock, Part, Series
from tests.browser.moves import fits
from tests.factories import make_member

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]
PASTE = """([selector, text]) => {
  const data = new DataTransfer();
  data.setData("text/plain", text);
  document.querySelector(selector).dispatchEvent(new ClipboardEvent("paste", { clipboardData: data, bubbles: true, cancelable: true }));
}"""
FILL = "(name) => document.querySelector(`[name='${name}']`).parentElement.querySelector('rect').getAttribute('fill')"

HALF = """(name) => document.querySelector(`[name='${name}']`).parentElement
  .querySelectorAll('rect')[1]?.getAttribute('fill') ?? null"""
"""What the second half of a swatch shows; nothing where it is of one code."""
WHITE = "() => JSON.parse(document.getElementById('fills').textContent).W"


@pytest.mark.parametrize("width", [1280, 360])
def test_seven_parts_by_keys_and_a_paste_on_one_page(visit: Visit, series: Series, coat: Part, width: int) -> None:
    lead = make_member(series, "lead")
    page = visit(lead, coat.costume.subject.get_absolute_url(), viewport={"width": width, "height": 740})
    page.click("a:has-text('All codes as a table')")
    page.locator("form.costume-table").wait_for()
    fits(page, width)
    page.wait_for_load_state()
    known = page.evaluate(FILL, "form-0-base")
    assert known.startswith("#"), "what is locked has its swatch before anything is typed"
    page.fill("[name='form-0-base']", "b2r3y")
    assert page.evaluate(FILL, "form-0-base") == known, "letters in another order are the same code"
    page.fill("[name='form-0-base']", "Q")
    assert page.evaluate(FILL, "form-0-base") == "none"
    page.fill("[name='form-0-base']", "b2r3y to W, downwards")
    assert [page.evaluate(FILL, "form-0-base"), page.evaluate(HALF, "form-0-base")] == [known, page.evaluate(WHITE)]
    page.fill("[name='form-0-base']", "YR")
    assert page.evaluate(HALF, "form-0-base") is None
    page.locator("[name='form-0-base']").press("ArrowDown")
    assert page.evaluate("document.activeElement.name") == "form-1-base"
    table = "\n".join(f"{name}\tYR3\tYR3B" for name in ("hair", "face", "shirt", "belt", "boots", "hat"))
    page.evaluate(PASTE, ["[name='form-1-part']", table])
    assert page.input_value("[name='form-6-part']") == "hat", "rows are made for what is pasted"
    assert page.evaluate(FILL, "form-6-shade").startswith("#")
    page.locator("[name='form-6-shade']").press("Enter")
    page.wait_for_url(f"**{coat.costume.subject.get_absolute_url()}")
    assert "13 codes locked in one decision" in page.locator(".messages").inner_text()
    made = Lock.objects.filter(part__costume=coat.costume, withdrawn_at=None)
    assert made.values("part").distinct().count() == 7
    assert made.values("decided_at").distinct().count() == 1


def test_a_copy_by_touch(visit: Visit, series: Series, coat: Part) -> None:
    lead = make_member(series, "lead")
    phone = {"viewport": {"width": 360, "height": 740}, "has_touch": True}
    page = visit(lead, reverse("subject", args=[series.slug, coat.costume.subject_id]), **phone)
    page.tap("summary:has-text('Edit')")
    page.tap("a:has-text('Copy')")
    page.locator("form.costume-table").wait_for()
    page.fill("[name=name]", "storm coat")
    page.fill("[name='form-0-base']", "B2")
    page.tap("button.main")
    page.wait_for_url(f"**{coat.costume.subject.get_absolute_url()}")
    assert "storm coat" in page.locator("#main").inner_text()
    assert Lock.objects.get(part__costume__name="storm coat").written == "B2"
