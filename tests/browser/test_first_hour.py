"""From nothing to the first answer: a newcomer starts a series, asks somebody in, brings a subject and a page, marks.

Bar: under five minutes of a person who has never seen it, by the keystroke-level model (``hand.py``) with a mental
preparation before every link, field and choice.
"""

from __future__ import annotations

import re
from typing import Any

import pytest

from bible.models import Invitation, Membership, Series
from guides.models import Mark
from tests.browser.hand import KEYSTROKE, Hand, seconds
from tests.browser.moves import centre_of, point_of_page
from tests.factories import make_user, picture_bytes

pytestmark = [pytest.mark.browser, pytest.mark.every_database, pytest.mark.django_db(transaction=True)]

BAR = 300.0
"""Seconds: the five minutes of the first series."""

DIALOG = 4
"""Preparations for finding a file on one's own disk, which no page can make shorter."""


class Newcomer(Hand):
    """Reads before everything it does, and goes only where the pages lead."""

    def go(self, words: str) -> None:
        """Press what leads to another page."""
        with self.page.expect_navigation(wait_until="networkidle"):
            self.press(words)

    def press(self, words: str) -> None:
        """A link or a button by its words."""
        # “New part” is said of which costume to those who do not see where it stands.
        name = re.compile(f"^{re.escape(words)}(?: (?:of|for) .*)?$")
        there = self.page.get_by_role("link", name=name).or_(self.page.get_by_role("button", name=name))
        there.first.scroll_into_view_if_needed()
        box = there.first.bounding_box()
        self.think()
        self.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)

    def fill(self, name: str, text: str) -> None:
        """Point at a field and type into it."""
        self.think()
        self.click(*centre_of(self.page, f"main [name={name}]"))
        self.type(text)

    def choose(self, name: str, key: str) -> None:
        """Take a choice by its first letter."""
        self.think()
        self._reach("keys")
        self.did["K"] += 1 + len(key)
        self.page.locator(f"main [name={name}]").last.focus()
        self.page.keyboard.type(key)


def test_the_first_series(visit: Any) -> None:
    me = make_user(username="new")
    page = visit(me, "/", viewport={"width": 1280, "height": 1000})
    hand = Newcomer(page)

    hand.go("Start a series")
    hand.fill("title", "The Slow River")
    hand.go("Start it")
    series = Series.objects.get()
    assert (series.slug, Membership.objects.get().role) == ("the-slow-river", "lead")
    assert page.get_by_role("heading", name="First steps").is_visible()

    hand.go("Look at the notation")
    hand.go("Today")
    hand.go("Ask people in")
    hand.choose("role", "f")
    hand.go("Make a link")
    assert Invitation.objects.get().role == "fill-in"

    hand.go("Today")
    hand.go("Add a subject")
    hand.fill("name", "ada penn")
    hand.go("Save")
    hand.go("New costume")
    hand.fill("name", "work coat")
    hand.go("Save")
    hand.go("New part")
    hand.fill("name", "coat")
    hand.go("Save and lock its code")
    hand.fill("code", "yr3b2")
    hand.go("Lock")

    hand.go("Today")
    hand.go("Add an issue")
    hand.fill("number", "1")
    hand.go("Add it")
    hand.go("Upload guides")
    page.locator("#choose-files").set_input_files(
        {"name": "p01.png", "mimeType": "image/png", "buffer": picture_bytes(400, 600, form="PNG")}
    )
    hand.did.update(M=DIALOG, P=2, K=2)
    hand.press("Bring 1 file in")
    page.get_by_role("link", name="page 1", exact=True).wait_for()
    hand.go("page 1")

    hand.think()
    hand.click(*point_of_page(page, 0.4, 0.4))
    hand.type("yr3b2")
    hand.key("Tab")
    hand.type("co")
    hand.key("Enter")
    page.locator("#panel .answer-word", has_text="Agrees").wait_for()
    assert Mark.objects.get().part is not None

    took = seconds(hand.did, KEYSTROKE["average non-secretary typist"])
    print(f"{dict(hand.did)}: {took:.0f} s")
    assert took < BAR, f"{took:.0f} s"
