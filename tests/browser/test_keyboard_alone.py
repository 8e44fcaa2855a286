"""The main jobs by the keyboard alone, from the sign-in to the sign-off. No mouse, no focus set by the test.

Wherever Tab stops on the way, something has to show it (WCAG 2.2, success criterion 2.4.7), it has to be in sight
(2.4.11), and it has to have a name.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest

from bible.models import Lock, Part, Proposal, Series
from guides.models import Assignment, Guide, Mark
from tests.browser.conftest import PATIENCE, VIEWPORT
from tests.browser.moves import queue_is_empty
from tests.factories import PASSWORD, make_mark, make_member

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

FAR = 150
"""Stops of the Tab key after which something counts as out of reach."""

STOP = """() => {
  const here = document.activeElement;
  if (!here || here === document.body) return null;
  const field = here.labels?.[0] || here;
  const said = (here.getAttribute("aria-label") || field.innerText || here.textContent || "").trim();
  const words = (said || here.querySelector("img")?.alt || "").replace(/\\s+/g, " ");
  const style = getComputedStyle(here), box = here.getBoundingClientRect();
  const ring = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
  const thick = [...here.querySelectorAll(".pin-disc, path")].some((one) => parseFloat(getComputedStyle(one).strokeWidth) >= 5);
  const middle = [box.left + box.width / 2, box.top + Math.min(box.height / 2, 10)];
  return { words, shown: ring || thick,
           inSight: middle[0] >= 0 && middle[1] >= 0 && middle[0] <= innerWidth && middle[1] <= innerHeight,
           html: here.outerHTML.slice(0, 120) };
}"""


class Keys:
    """Somebody without a mouse."""

    def __init__(self, page: Any) -> None:
        self.page = page

    def tab(self, key: str = "Tab") -> dict[str, Any] | None:
        """One stop further; it is seen where one is."""
        self.page.keyboard.press(key)
        stop: dict[str, Any] | None = self.page.evaluate(STOP)
        if stop:
            assert stop["shown"], f"nothing shows the focus on {stop['html']}"
            assert stop["inSight"], f"out of sight: {stop['html']}"
            assert stop["words"], f"no name: {stop['html']}"
        return stop

    def to(self, words: str) -> None:
        """Press Tab until something whose name begins with the words has the focus."""
        passed = []
        for _ in range(FAR):
            stop = self.tab()
            if stop and stop["words"].startswith(words):
                return
            passed.append(stop and stop["words"][:30])
        pytest.fail(f"“{words}” is not reached by Tab: {passed}")

    def press(self, words: str) -> None:
        """Go to a link or button and press it; the page that it leads to is there afterwards."""
        self.to(words)
        with self.page.expect_navigation(wait_until="networkidle"):
            self.page.keyboard.press("Enter")

    def write(self, words: str, text: str) -> None:
        self.to(words)
        self.page.keyboard.press("ControlOrMeta+a")
        self.page.keyboard.type(text)


@pytest.fixture
def sit_down(chromium: Any, live_server: Any) -> Iterator[Callable[..., Keys]]:
    """Somebody signs in by keyboard and is at an address."""
    contexts: list[Any] = []

    def open_as(person: Any, path: str = "/") -> Keys:
        context = chromium.new_context(base_url=live_server.url, viewport=VIEWPORT, reduced_motion="reduce")
        context.set_default_timeout(PATIENCE)
        contexts.append(context)
        page = context.new_page()
        page.goto(f"/sign-in/?next={path}")
        page.keyboard.type(person.username)  # the field has the focus already
        keys = Keys(page)
        keys.write("Password", PASSWORD)
        keys.press("Sign in")
        return keys

    yield open_as
    for context in contexts:
        for page in context.pages:
            page.wait_for_load_state("networkidle")
        context.close()


def test_the_skip_link_leads_past_the_rooms(sit_down: Callable[..., Keys], colourist: Any, series: Series) -> None:
    keys = sit_down(colourist, f"/s/{series.slug}/flags/")
    stop = keys.tab()
    assert stop
    assert stop["words"] == "Skip to the page"
    keys.page.keyboard.press("Enter")
    keys.tab()
    assert keys.page.evaluate("document.getElementById('main').contains(document.activeElement)")


def test_a_code_is_looked_up(sit_down: Callable[..., Keys], colourist: Any, coat: Part) -> None:
    keys = sit_down(colourist, f"/s/{coat.costume.subject.series.slug}/")
    keys.press("Look-up")
    keys.page.keyboard.type("ada coat")  # the field has the focus
    keys.page.locator("#found", has_text="YR3B2").wait_for()
    keys.press("Ada Penn")
    assert keys.page.locator("#main h1").inner_text().startswith("Ada Penn")


def test_a_mark_is_placed_and_its_flag_settled(
    sit_down: Callable[..., Keys], colourist: Any, guide: Guide, coat: Part
) -> None:
    keys = sit_down(colourist, guide.get_absolute_url())
    keys.to("Page")
    page = keys.page
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    page.keyboard.type("YR3")
    page.keyboard.press("Tab")
    page.keyboard.type("coat")
    page.keyboard.press("Enter")
    page.locator("#mark-list tbody tr").wait_for()
    queue_is_empty(page)
    assert Mark.objects.flagged().get().part == coat

    # The flag in the list leads to the mark; there the code is put right.
    keys.press("Flags")
    keys.press(f"{guide.issue.number} · page {guide.page} · mark 1")
    keys.write("Code as written", "YR3B2")
    page.keyboard.press("Enter")
    page.locator("#mark-list tbody tr", has_text="agrees").wait_for()
    queue_is_empty(page)
    assert Mark.objects.live().get().written == "YR3B2"


def test_a_code_is_proposed_and_locked(
    sit_down: Callable[..., Keys], series: Series, lead: Any, colourist: Any, coat: Part
) -> None:
    keys = sit_down(colourist, coat.costume.subject.get_absolute_url())
    keys.press("Propose a code")
    keys.write("Code", "YR2B2")
    keys.write("Note", "as printed last month")
    keys.press("Propose it")
    assert Proposal.objects.get().written == "YR2B2"

    keys = sit_down(lead, f"/s/{series.slug}/")
    keys.press("Ada Penn, work coat: coat")
    keys.press("Accept or change")
    keys.press("Lock")
    if keys.page.get_by_role("button", name="Lock with these consequences").count():
        keys.press("Lock with these consequences")
    lock = Lock.objects.get(part=coat, withdrawn_at=None)
    assert lock.written == "YR2B2"
    assert Proposal.objects.get().state == Proposal.State.ACCEPTED


def test_pages_are_given_and_taken_back(
    sit_down: Callable[..., Keys], lead: Any, colourist: Any, guide: Guide
) -> None:
    keys = sit_down(lead, guide.issue.get_absolute_url())
    keys.press("Who does what")
    keys.write("Pages", "7-9")
    keys.to("To")
    keys.page.keyboard.type(colourist.username)
    keys.press("Give them")
    assert Assignment.objects.filter(colourist=colourist).count() == 3
    keys.to("8")
    keys.page.keyboard.press("Space")
    keys.press("Take them back")
    assert sorted(Assignment.objects.values_list("page", flat=True)) == ["7", "9"]


def test_an_issue_goes_out(sit_down: Callable[..., Keys], series: Series, colourist: Any, guide: Guide) -> None:
    make_mark(guide, "B2", by=colourist)
    issue = guide.issue
    keys = sit_down(colourist, issue.get_absolute_url())
    keys.press("What is still open")
    keys.press("Put in check")
    keys = sit_down(make_member(series, "editor"), f"/s/{series.slug}/")
    keys.press(f"Issue {issue.number}")
    keys.to("In your words")
    keys.page.keyboard.type("all pages are in")
    keys.press("Sign off")
    issue.refresh_from_db()
    assert issue.signed_off_at


def test_keys_are_shown_and_the_focus_comes_back(
    sit_down: Callable[..., Keys], colourist: Any, series: Series
) -> None:
    keys = sit_down(colourist, f"/s/{series.slug}/flags/")
    keys.to("Issues")
    keys.page.keyboard.press("?")
    keys.page.wait_for_selector("#keys-map[open] dl.keys")
    keys.to("Close")
    keys.page.keyboard.press("Enter")
    assert not keys.page.locator("#keys-map").is_visible()
    stop = keys.page.evaluate(STOP)
    assert stop["words"] == "Issues"
    assert stop["shown"]


def test_the_theme_is_chosen(sit_down: Callable[..., Keys], colourist: Any, series: Series) -> None:
    keys = sit_down(colourist, f"/s/{series.slug}/flags/")
    keys.to("Dark")
    with keys.page.expect_response("**/theme/"):
        keys.page.keyboard.press("Space")
    assert keys.page.get_attribute("html", "data-theme") == "dark"
    stop = keys.page.evaluate(STOP)
    assert stop["words"] == "Dark"
    assert stop["shown"]
