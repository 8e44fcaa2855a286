"""The proof desk in a browser: wipe, blink, decide by keys, four points, a scan refused in words."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.urls import reverse
from PIL import Image

from guides.models import Guide, Proof, ProofReading
from tests.factories import make_mark, make_member, make_proof, make_reading, picture_bytes

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]


@pytest.fixture
def editor(series: Any) -> Any:
    return make_member(series, "editor", username="hanna")


@pytest.fixture
def proof(guide: Guide) -> Proof:
    made = make_proof(guide)
    for place, code in enumerate(("YR", "R3B2", "YR3")):
        mark = make_mark(guide, code, x=0.2 + 0.3 * place, y=0.5)
        make_reading(made, mark, delta_e=30.0 - 10 * place)
    return made


def test_looking_and_deciding_by_keys_alone(visit: Visit, proof: Proof, editor: Any) -> None:
    page = visit(editor, proof.get_absolute_url())
    desk, top = page.locator("#proof-desk"), page.locator('[data-pane="top"]')
    page.focus("#proof-panes")
    page.keyboard.press("2")
    assert desk.get_attribute("data-mode") == "wipe"
    assert "inset" in top.evaluate("pane => pane.style.clipPath")
    page.keyboard.press("3")
    page.keyboard.press("b")
    shown = desk.get_attribute("data-shown")
    page.keyboard.press("b")
    assert {shown, desk.get_attribute("data-shown")} == {"top", "predicted"}
    page.keyboard.press("1")

    rows = page.locator("#faults .fault-row")
    rows.first.focus()
    page.keyboard.press("e")
    page.keyboard.type("cut the red plate")
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.activeElement?.dataset.open === '1'")
    first, second, third = ProofReading.objects.worst_first()
    assert (first.decision, first.note) == ("fault", "cut the red plate")
    page.keyboard.press("o")
    page.wait_for_function("(id) => document.activeElement?.id === id", arg=f"reading-{third.pk}")
    second.refresh_from_db()
    assert second.decision == "fine"
    page.get_by_text("1 undecided", exact=True).wait_for()


def decisions() -> list[str]:
    """What was decided, the worst fault first."""
    return list(ProofReading.objects.worst_first().values_list("decision", flat=True))


def said(page: Any, words: str) -> None:
    page.locator("#fault-now .fault-said", has_text=words).wait_for()


def test_f_is_a_fault_and_o_is_fine_from_anywhere_with_a_way_back(visit: Visit, proof: Proof, editor: Any) -> None:
    page = visit(editor, proof.get_absolute_url())
    assert page.evaluate("() => document.activeElement === document.body")
    assert page.locator("#fault-now .fault-name").inner_text().startswith("Mark 1:"), "which one is said"
    page.keyboard.press("f")
    said(page, "Fault,")
    assert decisions() == ["fault", "", ""]
    page.locator("#proof-desk [data-zoom=closer]").click()  # the focus is elsewhere now
    page.keyboard.press("o")
    said(page, "Printed fine,")
    assert decisions() == ["fault", "fine", ""]
    page.focus("#proof-panes")
    page.keyboard.press("u")
    said(page, "Undecided again")
    assert decisions() == ["fault", "", ""]
    page.focus("#proof-panes")
    page.keyboard.press("Control+z")
    page.wait_for_function("() => document.querySelectorAll('#faults [data-open=\"1\"]').length === 3")
    assert decisions() == ["", "", ""]


def test_n_goes_on_and_nothing_is_decided_while_somebody_writes(visit: Visit, proof: Proof, editor: Any) -> None:
    page = visit(editor, proof.get_absolute_url())
    named = page.locator("#fault-now .fault-name")
    page.keyboard.press("n")
    assert named.inner_text().startswith("Mark 1:")
    page.keyboard.press("n")
    assert named.inner_text().startswith("Mark 2:")
    page.focus("#proof-panes")
    page.keyboard.press("n")
    assert named.inner_text().startswith("Mark 3:")
    page.keyboard.press("e")
    page.keyboard.type("food for u")
    page.focus("#proof-against")
    page.keyboard.press("f")
    assert decisions() == ["", "", ""]
    assert page.locator("#faults .fault-note input").nth(2).input_value() == "food for u"


def test_a_note_is_still_there_when_its_fault_is_taken_back(visit: Visit, proof: Proof, editor: Any) -> None:
    page = visit(editor, proof.get_absolute_url())
    page.keyboard.press("e")
    page.keyboard.type("cut the red plate")
    page.keyboard.press("Enter")
    said(page, "Fault,")
    page.keyboard.press("u")
    said(page, "Undecided again")
    assert page.locator("#faults .fault-note input").first.input_value() == "cut the red plate"


def test_whoever_wants_no_single_keys_has_them_on_the_fault_alone(visit: Visit, proof: Proof, editor: Any) -> None:
    page = visit(editor, "/help/keys/")
    page.uncheck("#main [data-keys-switch]")
    page.goto(proof.get_absolute_url())
    page.keyboard.press("f")
    page.locator("#faults .fault-row").nth(1).focus()
    page.keyboard.press("f")
    said(page, "Fault,")
    assert decisions() == ["", "fault", ""]


@pytest.mark.parametrize("width", [360, 820])
def test_deciding_and_taking_back_by_touch(visit: Visit, proof: Proof, editor: Any, width: int) -> None:
    page = visit(editor, proof.get_absolute_url(), viewport={"width": width, "height": 720}, has_touch=True)
    page.locator("#faults .fault-row button", has_text="Accept as fault").first.tap()
    said(page, "Fault,")
    assert decisions() == ["fault", "", ""]
    page.locator("#fault-now [data-back]").tap()
    said(page, "Undecided again")
    assert decisions() == ["", "", ""]


def test_four_points_by_click_and_by_arrow_keys(visit: Visit, proof: Proof, editor: Any) -> None:
    page = visit(editor, reverse("proof-points", args=[proof.series.slug, proof.pk]))
    guide = page.locator('[data-side="g"]')
    guide.locator("img").click(position={"x": 60, "y": 150})
    box = guide.locator("img").bounding_box()
    assert float(page.input_value("[name=gx0]")) == pytest.approx(6000 / box["width"], abs=0.6)
    assert page.evaluate("document.getElementById('points-form').checkValidity()"), "or the button says nothing"
    pin = page.locator('[data-side="s"] .point-pin').nth(2)
    pin.focus()
    before = float(page.input_value("[name=sx2]"))
    page.keyboard.press("Shift+ArrowLeft")
    assert float(page.input_value("[name=sx2]")) == pytest.approx(before - 2)


def test_a_blank_scan_is_refused_in_words(visit: Visit, guide: Guide, editor: Any, tmp_path: Path) -> None:
    with guide.screen.storage.open(str(guide.screen.name), "wb") as file:
        file.write(picture_bytes(420, 620))  # large enough for the engine to look at the scan
    blank = tmp_path / "blank.png"
    Image.new("RGB", (420, 620), "white").save(blank)
    page = visit(editor, reverse("new-proof", args=[guide.series.slug, guide.pk]))
    page.set_input_files("[name=scan]", str(blank))
    page.get_by_role("button", name="Upload and read").click()
    page.locator(".refusal", has_text="blank").wait_for()
    page.get_by_text("Nothing was decided on it.").wait_for()
    assert Proof.objects.get().refusal == "blank"
