"""Taking back and doing again every kind of deed at the desk, and the quick ways to a mark: arrow, copy, issue before."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse

from bible.colour.gradients import Gradient
from bible.colour.shifts import Op, Shift, Step
from bible.locks.services import lock_tint
from bible.models import Part, Scene, Series
from bible.scenes.services import set_scene
from guides.models import Guide, Mark, MarkNote, PageNote, SceneArea
from tests.browser.moves import drag, field_has_focus, forgive, place, point_of_page, queue_is_empty, saved
from tests.factories import make_guide, make_issue, make_lock, make_mark, make_member, make_part

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]


def said_of(guide: Guide) -> list[tuple[Any, ...]]:
    """Everything that stands on a page: its marks, scenes and notes."""
    marks = Mark.objects.live().filter(guide=guide).order_by("number")
    rows: list[tuple[Any, ...]] = [
        (m.number, m.written, m.to_written, round(m.x, 3), round(m.y, 3), m.arrow_end and round(m.arrow_end[0], 3),
         m.part_id, m.role, m.expected)
        for m in marks
    ]  # fmt: skip
    rows += [("scene", area.scene_id) for area in SceneArea.objects.filter(guide=guide).standing()]
    return rows + [("note", note.text) for note in PageNote.objects.of_page(guide).standing()]


def step(page: Any, key: str) -> str:
    """Take a step by its keys from the stage; what the panel said of it."""
    page.focus("#stage")
    before = page.get_attribute("#desk-steps [name=key]", "value")
    page.keyboard.press(key)
    another = "(key) => ![undefined, key].includes(document.querySelector('#desk-steps [name=key]')?.value)"
    page.wait_for_function(another, arg=before)
    if page.locator("#panel [data-asks]").count():
        assert page.evaluate("document.activeElement.hasAttribute('data-asks')"), "what is asked is read from its top"
        before = page.get_attribute("#desk-steps [name=key]", "value")
        page.locator("#panel button.main").press("Enter")
        page.wait_for_function(another, arg=before)
    return str(page.locator("#panel .said").first.inner_text())


def test_every_deed_is_taken_back_and_done_again_by_keys(
    visit: Visit, colourist: Any, series: Series, guide: Guide, coat: Part
) -> None:
    night = set_scene(
        scene=Scene(series=series, name="Night"),
        rule=Shift((Step(Op.ADD, "c", 25),)),
        by=make_member(series, "lead", username="lea"),
    )
    fades = Gradient(series.read("YR3B2"), series.read("Y2"))
    lock_tint(part=coat, role="base", tint=fades, written="YR3B2 > Y2", from_position=0, by=colourist)
    page = visit(colourist, guide.get_absolute_url())
    states = [said_of(guide)]
    done: list[str] = []

    def deed(name: str) -> None:
        queue_is_empty(page)
        states.append(said_of(guide))
        done.append(name)
        assert states[-1] != states[-2], name

    place(page, (0.3, 0.3), "yr3b2", "co")
    deed("placing mark 1")

    page.keyboard.press("Alt+e")
    field_has_focus(page, "written")
    page.fill("[name=written]", "YR3B2 > Y2")
    page.keyboard.press("Enter")
    page.locator("#overlay .fade").wait_for()
    deed("rewriting mark 1")

    page.locator(".pin").focus()
    page.keyboard.press("ArrowRight")
    saved(page, "Moved.")
    deed("moving mark 1")

    page.locator(".tip").focus()
    page.keyboard.press("ArrowRight")
    saved(page, "The arrow points there.")
    deed("turning the arrow of mark 1")

    page.focus("#stage")
    page.keyboard.press("Alt+r")
    drag(page, point_of_page(page, 0.1, 0.1), point_of_page(page, 0.6, 0.6))
    page.locator("#panel h2", has_text="Apply a scene here").wait_for()
    page.select_option("#panel [name=scene]", str(night.pk))
    page.click("#panel button.main")
    page.locator("#panel", has_text="This is what it would do").wait_for()
    assert SceneArea.objects.count() == 0, "shown before it is saved"
    page.click("#panel button:has-text('with these consequences')")
    saved(page, "Night holds there.")
    deed("scene Night")
    area = SceneArea.objects.get()
    edges = (area.left, area.top, area.right, area.bottom)
    assert edges == pytest.approx((0.1, 0.1, 0.6, 0.6), abs=0.01), "where it was drawn"

    page.click("text=Write a note for the page")
    page.locator("#panel [name=text]").fill("All skin on these pages is night.")
    page.fill("#panel [name=last_page]", "9")
    page.click("#panel button.main")
    saved(page, "The note is kept")
    assert "pages 7–9" in page.locator("#panel .page-notes").inner_text()
    deed("note on pages 7–9")

    page.click("#panel button:has-text('Remove')")
    saved(page, "The note is taken away.")
    deed("taking away note on pages 7–9")

    page.locator(".pin").focus()
    page.keyboard.press("Delete")
    saved(page, "Mark 1 deleted.")
    deed("deleting mark 1")

    page.click("#panel button:has-text('bring mark 1 back')")
    saved(page, "Mark 1 is back.")
    deed("bringing back mark 1")

    for at in reversed(range(len(done))):
        assert done[at] in step(page, "Control+z"), "the button and the answer name what is taken back"
        assert said_of(guide) == states[at], f"as before {done[at]}"
    assert page.locator("[data-step=undo] button").is_disabled()
    assert page.locator(".pin").count() == 0
    for at, name in enumerate(done):
        assert name in step(page, "Control+Shift+Z" if at % 2 else "Control+y")
        assert said_of(guide) == states[at + 1], f"as after {name}"
    assert page.locator("[data-step=redo] button").is_disabled()
    forgive(page, "422")


def test_a_step_is_not_taken_over_somebody_elses_work(visit: Visit, colourist: Any, guide: Guide, coat: Part) -> None:
    page = visit(colourist, guide.get_absolute_url())
    place(page, (0.3, 0.3), "yr3b2", "co")
    from guides.core.services import rewrite_mark

    other = make_member(guide.series, "fill-in", username="ida", first_name="Ida")
    rewrite_mark(mark=Mark.objects.get(), written="Y", part=coat, role="base", by=other)
    assert "Ida changed mark 1 after that" in step(page, "Control+z")
    assert Mark.objects.live().get().written == "Y"
    page.focus("#stage")
    page.keyboard.press("Enter")
    field_has_focus(page, "written")
    page.keyboard.type("yr")
    page.keyboard.press("Control+z")
    assert page.input_value("[name=written]") != "yr", "in a field the keys take the typing back, not the marks"
    assert Mark.objects.live().count() == 1
    forgive(page, "422")


def test_an_arrow_is_drawn_with_its_two_codes(visit: Visit, colourist: Any, guide: Guide, coat: Part) -> None:
    page = visit(colourist, guide.get_absolute_url())
    page.focus("#stage")
    page.keyboard.press("Alt+g")
    drag(page, point_of_page(page, 0.2, 0.3), point_of_page(page, 0.6, 0.7))
    field_has_focus(page, "written")
    assert page.locator(".draft .tip").count() == 1
    page.keyboard.type("yr > y2")
    page.keyboard.press("Enter")
    page.locator("#overlay .fade").wait_for()
    fade = Mark.objects.get()
    assert (fade.written, fade.to_written) == ("yr", "y2")
    assert (fade.x, fade.y, *(fade.arrow_end or ())) == pytest.approx((0.2, 0.3, 0.6, 0.7), abs=0.01)
    assert page.locator(".draft").count() == 0

    # By keys alone: both ends with Enter, both codes in their fields.
    page.focus("#stage")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("Alt+g")
    page.keyboard.press("Enter")
    for _ in range(6):
        page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    field_has_focus(page, "written")
    page.keyboard.type("b")
    page.keyboard.press("Tab")
    field_has_focus(page, "to_written")
    page.keyboard.type("b2")
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.querySelectorAll('#overlay .fade').length === 2")
    second = Mark.objects.latest("pk")
    assert (second.written, second.to_written) == ("b", "b2")
    assert second.arrow_end is not None
    assert second.arrow_end[0] > second.x + 0.05
    assert second.arrow_end[1] == pytest.approx(second.y, abs=0.001)


def test_a_mark_is_copied_with_its_arrow(visit: Visit, colourist: Any, guide: Guide, coat: Part) -> None:
    make_mark(guide, "YR3B2", part=coat, role="shade", x=0.2, y=0.2, to=(0.3, 0.25), to_written="Y2")
    page = visit(colourist, Mark.objects.get().get_absolute_url())
    page.focus("#stage")
    page.keyboard.press("0")
    page.keyboard.press("Alt+c")
    page.locator(".prepared", has_text="Next click places").wait_for()
    page.mouse.click(*point_of_page(page, 0.6, 0.8))
    page.wait_for_function("() => document.querySelectorAll('#overlay .pin').length === 2")
    copy = Mark.objects.latest("pk")
    assert (copy.written, copy.part, copy.role, copy.to_written) == ("YR3B2", coat, "shade", "Y2")
    assert (copy.x, copy.y, *(copy.arrow_end or ())) == pytest.approx((0.6, 0.8, 0.7, 0.85), abs=0.01)
    assert page.locator(".prepared").is_hidden()


def test_what_the_issue_before_says_is_placed_click_by_click(
    visit: Visit, colourist: Any, series: Series, guide: Guide, coat: Part
) -> None:
    boots = make_part(costume=coat.costume, name="boots")
    make_lock(boots, "B3")
    late = make_guide(make_issue(series), page="7", width=400, height=600)
    make_mark(guide, "YR3B2", part=coat, x=0.1, y=0.1)
    make_mark(guide, "B3", part=boots, x=0.2, y=0.1)
    make_mark(guide, "Y2", x=0.3, y=0.1)
    make_lock(boots, "RB3", from_position=late.issue.position)
    page = visit(colourist, late.get_absolute_url())
    page.focus("#stage")
    page.keyboard.press("Alt+l")
    page.locator("#panel h2", has_text="As in issue 1").wait_for()
    assert "the bible has changed: issue 1 says B3" in page.locator("#panel").inner_text()
    page.click("[data-take-all]")
    for at, x in enumerate((0.2, 0.5, 0.8), 1):
        assert f"places {at} of 3" in page.locator(".prepared").inner_text()
        page.mouse.click(*point_of_page(page, x, 0.5))
    queue_is_empty(page)
    marks = list(Mark.objects.live().filter(guide=late).order_by("number"))
    assert [(mark.written, mark.part) for mark in marks] == [("YR3B2", coat), ("RB3", boots), ("Y2", None)]
    assert not any(mark.flag_kind for mark in marks)
    assert page.locator(".prepared").is_hidden()


def test_a_note_holds_on_every_page_of_its_run_without_script(visit: Visit, colourist: Any, guide: Guide) -> None:
    inside, outside = (make_guide(guide.issue, page=label, width=400, height=600) for label in ("8", "10"))
    page = visit(colourist, guide.get_absolute_url(), java_script_enabled=False)
    page.click("text=Write a note for the page")
    page.fill("[name=text]", "Lamplight from the left.")
    page.fill("[name=last_page]", "3")
    page.click("text=Keep it")
    assert "does not come after page 7" in page.locator("body").inner_text()
    assert page.locator("[name=text]").input_value() == "Lamplight from the left."
    page.fill("[name=last_page]", "9")
    page.click("text=Keep it")
    for one, holds in ((guide, True), (inside, True), (outside, False)):
        page.goto(one.get_absolute_url())
        assert ("Lamplight from the left." in page.locator("body").inner_text()) is holds
    assert MarkNote.objects.count() == 0
    page.goto(reverse("page-note", args=[guide.series.slug, guide.pk]))
    assert page.input_value("[name=first_page]") == "7"
    forgive(page, "422")
