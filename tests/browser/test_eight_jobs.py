"""The eight jobs of the house from the sign-in page through what is on the screen alone: by mouse, by keys, by touch at 360 px.

Nobody types an address; links, buttons and fields are found by their words.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from bible.models import Costume, Issue, Lock, Part, Series, Subject
from guides.models import Guide, Mark, Proof, ProofReading
from tests.browser.conftest import VIEWPORT, is_complaint
from tests.browser.moves import point_of_page, queue_is_empty, until
from tests.browser.test_keyboard_alone import Keys
from tests.factories import PASSWORD, make_issue, make_mark, make_member, make_proof, make_reading

pytestmark = [pytest.mark.browser, pytest.mark.every_database, pytest.mark.django_db(transaction=True)]

NARROW = {"width": 360, "height": 740}
PATIENCE = 60_000
"""Milliseconds for anything: longer than a busy machine takes."""


class Mouse:
    """Points at words and presses."""

    options: dict[str, Any] = {"viewport": VIEWPORT}

    def __init__(self, page: Any) -> None:
        self.page = page

    def find(self, words: str) -> Any:
        """The first link, button or folded thing in sight whose name begins with the words."""
        name = re.compile(rf"^\W*{re.escape(words)}")
        found = self.page.get_by_role("link", name=name).or_(self.page.get_by_role("button", name=name))
        return found.or_(self.page.locator("summary").filter(has_text=name)).filter(visible=True).first

    def field(self, words: str) -> Any:
        return self.page.get_by_label(re.compile(rf"^\s*{re.escape(words)}")).filter(visible=True).first

    def at(self, what: Any) -> None:
        """Press there, once it keeps still."""
        what.click()

    def tap(self, x: float, y: float) -> None:
        self.page.mouse.move(x - 1, y)
        self.page.mouse.click(x, y)

    def press(self, words: str) -> None:
        """What leads to another page."""
        with self.page.expect_navigation(wait_until="networkidle"):
            self.at(self.find(words))

    def push(self, words: str) -> None:
        """What does something on this page."""
        self.at(self.find(words))

    def choose(self, words: str, option: str) -> None:
        """From the browser's own list, which no page draws."""
        self.field(words).select_option(label=option)

    def write(self, words: str, text: str) -> None:
        self.at(self.field(words))
        self.page.keyboard.press("ControlOrMeta+a")
        self.page.keyboard.type(text)

    def hand_over(self, words: str, file: dict[str, Any]) -> None:
        with self.page.expect_file_chooser() as asked:
            self.at(self.field(words))
        asked.value.set_files(file)

    def place(self, x: float, y: float) -> None:
        self.page.locator("#paper img").scroll_into_view_if_needed()
        self.tap(*point_of_page(self.page, x, y))

    def take(self, words: str) -> bytes:
        with self.page.expect_download() as asked:
            self.push(words)
        with open(asked.value.path(), "rb") as file:
            return file.read()


class Touch(Mouse):
    """A finger on a telephone; the letters come from its own keyboard."""

    options = {"viewport": NARROW, "has_touch": True, "is_mobile": True}

    def at(self, what: Any) -> None:
        what.tap()

    def tap(self, x: float, y: float) -> None:
        self.page.touchscreen.tap(x, y)


class Board(Mouse):
    """Keys alone: Tab to what is meant, then Enter."""

    def __init__(self, page: Any) -> None:
        super().__init__(page)
        self.keys = Keys(page)

    def press(self, words: str) -> None:
        self.keys.press(words)

    def push(self, words: str) -> None:
        self.keys.to(words)
        self.page.keyboard.press("Enter")

    def write(self, words: str, text: str) -> None:
        focused = self.page.evaluate("() => document.activeElement?.labels?.[0]?.innerText || ''")
        if not focused.startswith(words):
            self.keys.to(words)
        self.page.keyboard.press("ControlOrMeta+a")
        self.page.keyboard.type(text)

    def choose(self, words: str, option: str) -> None:
        self.keys.to(words)
        self.page.keyboard.type(option)

    def hand_over(self, words: str, file: dict[str, Any]) -> None:
        self.keys.to(words)
        with self.page.expect_file_chooser() as asked:
            self.page.keyboard.press("Space")
        asked.value.set_files(file)

    def place(self, x: float, y: float) -> None:
        self.keys.to("Page")
        self.page.keyboard.press("ArrowDown")
        self.page.keyboard.press("Enter")


Come = Callable[[Any], Any]


@pytest.fixture(params=[Mouse, Board, Touch], ids=["mouse", "keys", "touch"])
def come(request: Any, chromium: Any, live_server: Any) -> Iterator[Come]:
    """Somebody comes to the sign-in page with one kind of hand and signs in."""
    contexts: list[Any] = []
    complaints: list[str] = []

    def sign_in(person: Any) -> Any:
        context = chromium.new_context(base_url=live_server.url, reduced_motion="reduce", **request.param.options)
        context.set_default_timeout(PATIENCE)
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda said: complaints.append(said.text) if is_complaint(said) else None)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("filechooser", lambda _: None)  # or the browser learns too late that the test answers it
        page.goto("/")
        hand = request.param(page)
        hand.write("Username", person.username)
        hand.write("Password", PASSWORD)
        hand.press("Sign in")
        return hand

    yield sign_in
    for context in contexts:
        for page in context.pages:
            page.wait_for_load_state("networkidle")
        context.close()
    # The browser writes refusals there itself.
    assert [one for one in complaints if "422" not in one] == []


@pytest.fixture
def issues(series: Series, guide: Guide) -> list[Issue]:
    return [guide.issue, make_issue(series), make_issue(series)]


def test_a_code_is_looked_up(come: Come, colourist: Any, coat: Part) -> None:
    hand = come(colourist)
    hand.press("Look-up")
    hand.write("Who and what", "ada coat")
    hand.page.locator("#found", has_text="YR3B2").wait_for()
    hand.press("Ada Penn")
    assert hand.page.locator("#main", has_text="YR3B2").is_visible()


def test_a_page_is_marked(come: Come, colourist: Any, guide: Guide, coat: Part) -> None:
    hand = come(colourist)
    hand.press("Issues")
    hand.press(guide.issue.number)
    hand.press("page 7")
    hand.place(0.4, 0.4)
    hand.page.keyboard.type("YR3B2")
    hand.page.keyboard.press("Tab")
    hand.page.keyboard.type("coat")
    hand.page.keyboard.press("Enter")
    hand.page.locator("#mark-list tbody tr", has_text="agrees").wait_for()
    queue_is_empty(hand.page)
    assert (Mark.objects.get().part, Mark.objects.get().written) == (coat, "YR3B2")


def test_a_mark_is_corrected(come: Come, colourist: Any, guide: Guide, coat: Part) -> None:
    make_mark(guide, "YR3", part=coat, by=colourist)
    hand = come(colourist)
    hand.press("Flags")
    hand.press(f"{guide.issue.number} · page 7 · mark 1")
    hand.write("Code as written", "YR3B2")
    hand.page.keyboard.press("Enter")
    hand.page.locator("#mark-list tbody tr", has_text="agrees").wait_for()
    queue_is_empty(hand.page)
    assert Mark.objects.get().written == "YR3B2"


def in_force(part: Part, role: str = "base") -> list[str]:
    return list(
        Lock.objects.filter(part=part, role=role)
        .standing()
        .order_by("from_position")
        .values_list("written", flat=True)
    )


def agree(hand: Any, words: str) -> None:
    """Say yes to what is shown before, where something is."""
    hand.press(words)
    if hand.page.get_by_role("button", name=f"{words} with these consequences").count():
        hand.press(f"{words} with these consequences")


def test_a_code_is_locked_changed_and_undone(
    come: Come, lead: Any, guide: Guide, coat: Part, issues: list[Issue]
) -> None:
    make_mark(guide, "YR3B2", part=coat, by=lead)
    hand = come(lead)
    hand.press("Bible")
    hand.press("Ada Penn")
    hand.press("Lock a code")
    hand.choose("Role", "shade")
    hand.write("Code", "YRB")
    agree(hand, "Lock")
    assert in_force(coat, "shade") == ["YRB"], "a part that has only a base gets a shade"
    hand.press("Lock a code")
    hand.write("Code", "Y2")
    hand.write("From issue", issues[1].number)
    agree(hand, "Lock")
    assert in_force(coat) == ["YR3B2", "Y2"]
    hand.push("Every decision")
    hand.press("Undo this decision")
    hand.press("Undo it")
    assert (in_force(coat), in_force(coat, "shade")) == (["YR3B2"], ["YRB"])


def test_a_costume_changes(come: Come, lead: Any, coat: Part, issues: list[Issue]) -> None:
    hand = come(lead)
    hand.press("Bible")
    hand.press("Ada Penn")
    hand.push("Edit work coat")
    hand.press("Name and time")
    hand.write("up to and including issue", issues[1].number)
    agree(hand, "Save")
    costume = Costume.objects.get(pk=coat.costume_id)
    assert issues[1].position < (costume.worn[0].to_position or 0) <= issues[2].position
    hand.press("New costume")
    hand.write("Name", "rain cape")
    hand.write("Worn from issue", issues[2].number)
    hand.press("Save")
    assert Costume.objects.get(name="rain cape").worn[0].from_position == issues[2].position
    assert hand.page.get_by_role("heading", name="rain cape").is_visible()


def test_an_issue_is_signed_off_and_opened_again(come: Come, series: Series, guide: Guide) -> None:
    make_mark(guide, "B2")
    hand = come(make_member(series, "editor"))
    hand.press("Issues")
    hand.press(guide.issue.number)
    hand.press("What is still open")
    hand.write("In your words", "all pages are in")
    hand.press("Sign off")
    guide.issue.refresh_from_db()
    assert guide.issue.signed_off_at
    hand.write("In your words", "one more page")
    hand.press("Open it again")
    guide.issue.refresh_from_db()
    assert guide.issue.signed_off_at is None


def test_a_proof_is_checked(come: Come, series: Series, guide: Guide) -> None:
    proof: Proof = make_proof(guide)
    for place, code in enumerate(("YR", "R3B2")):
        make_reading(proof, make_mark(guide, code, x=0.2 + 0.3 * place), delta_e=30.0 - 10 * place)
    hand = come(make_member(series, "editor"))
    hand.press("Proofs")
    hand.press("proof 1")
    hand.push("Accept as fault")
    until(hand.page, lambda: ProofReading.objects.filter(decision="fault").count() == 1)
    hand.page.get_by_text("1 undecided", exact=True).wait_for()
    hand.push("Printed fine")
    until(hand.page, lambda: ProofReading.objects.filter(decision="fine").count() == 1)
    hand.page.get_by_text("0 undecided", exact=True).wait_for()
    assert sorted(ProofReading.objects.values_list("decision", flat=True)) == ["fault", "fine"]


TABLE = b"Subject,Costume,Part,Role,Code,From\nBo Lund,as drawn,hat,base,Y2,1\n"


def test_a_bible_comes_in_and_goes_out(
    come: Come, lead: Any, series: Series, coat: Part, issues: list[Issue]
) -> None:
    hand = come(lead)
    hand.press("Bible")
    hand.press("Import a table")
    hand.hand_over("Table", {"name": "bible.csv", "mimeType": "text/csv", "buffer": TABLE})
    hand.press("Look at it")
    assert not Subject.objects.filter(name="Bo Lund").exists()
    hand.press("Yes, take 1 row")
    assert in_force(Part.objects.get(name="hat")) == ["Y2"]
    hand.press("Bible")
    told = hand.take("CSV").decode("utf-8-sig")
    assert "Bo Lund" in told
    assert "Ada Penn" in told
