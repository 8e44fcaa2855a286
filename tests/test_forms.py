"""What a filled-in form sends: the HTML standard's sections “constructing the entry list” and “implicit submission”."""

from __future__ import annotations

import pytest
from lxml import html

from tests.forms import NoSuchThing, PageForm

PAGE = """
<form action="../save?from=list" method="post">
  <input type="hidden" name="seen" value="7">
  <input name="code" value="YR3">
  <input name="shut" value="no" disabled>
  <input type="checkbox" name="kept" value="1" checked><input type="checkbox" name="left" value="1">
  <select name="role"><option value="base">Base<option value="shade" selected>Shade</select>
  <select name="first"><option>one<option>two</select>
  <textarea name="why">
lamp</textarea>
  <fieldset disabled><input name="inside" value="1"></fieldset>
  <button type="button">Look</button>
  <button type="submit" name="deed" value="lock">Lock  it</button>
  <button type="submit" name="deed" value="end" formaction="/end">End it</button>
</form>
"""


class Recorder:
    """Stands for the test client."""

    def post(self, address: str, data: dict[str, list[str]], **_: object) -> tuple[str, dict[str, list[str]]]:
        return address, data


@pytest.fixture
def form() -> PageForm:
    return PageForm.read(html.fromstring(PAGE), "/s/bible/parts/3")


def test_untouched_it_sends_what_it_says(form: PageForm) -> None:
    assert form.entries == (
        ("seen", "7"),
        ("code", "YR3"),
        ("kept", "1"),
        ("role", "shade"),
        ("first", "one"),
        ("why", "lamp"),
    )


def test_enter_presses_the_first_button_that_submits(form: PageForm) -> None:
    address, told = form.press(Recorder())  # type: ignore[arg-type]
    assert (address, told["deed"]) == ("/s/bible/save?from=list", ["lock"])


def test_a_button_may_send_it_elsewhere(form: PageForm) -> None:
    address, told = form.press(Recorder(), "End it")  # type: ignore[arg-type]
    assert (address, told["deed"]) == ("/end", ["end"])


def test_answers_stand_in_for_what_was_there(form: PageForm) -> None:
    filled = form.fill(code="B", role="base", kept=None, left="1", why=None)
    assert (filled.value("code"), filled.value("role"), filled.value("kept")) == ("B", "base", None)
    assert (filled.value("left"), filled.value("why"), filled.value("seen")) == ("1", "", "7")


@pytest.mark.parametrize(("field", "answer"), [("seen", "8"), ("role", "glow"), ("shut", "yes"), ("nowhere", "x")])
def test_nobody_can_say_what_the_page_does_not_offer(form: PageForm, field: str, answer: str) -> None:
    with pytest.raises(NoSuchThing):
        form.fill(**{field: answer})


def test_a_button_that_is_not_there_cannot_be_pressed(form: PageForm) -> None:
    with pytest.raises(NoSuchThing):
        form.button("Look")
