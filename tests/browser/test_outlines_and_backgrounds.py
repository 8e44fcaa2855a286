"""From the screens: a scene within an outline by mouse, by keys and by touch, on some parts only; a part made where it
is marked, and a sky that is not the same within its scene."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse

from bible.colour.shifts import Op, Shift, Step
from bible.models import Part, Scene, Series, Within
from bible.scenes.services import set_scene
from guides.core.outlines import holds
from guides.models import FlagKind, Guide, Mark, MarkNote, SceneArea
from tests.browser.moves import forgive, place, point_of_page, queue_is_empty, saved
from tests.factories import make_lock, make_mark, make_member, make_part

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]
PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True}
CORNERS = [(0.2, 0.2), (0.7, 0.2), (0.7, 0.35), (0.4, 0.35), (0.4, 0.7), (0.2, 0.7)]
IN_IT, BESIDE = (0.3, 0.3), (0.6, 0.6)


@pytest.fixture
def lead(series: Series) -> Any:
    return make_member(series, "lead", username="lea")


@pytest.fixture
def firelight(series: Series, lead: Any) -> Scene:
    return set_scene(scene=Scene(series=series, name="Firelight"), rule=Shift((Step(Op.ADD, "m", 25),)), by=lead)


def let_hold(page: Any, scene: Scene, press: Callable[[str], None]) -> None:
    """Pick the scene in the panel, see what it would do where it does anything, and say yes."""
    page.locator("#panel h2", has_text="Apply a scene here").wait_for()
    assert page.input_value("#panel [name=outline]").count(",") >= 3
    page.select_option("#panel [name=scene]", str(scene.pk))
    press("#panel button.main")
    page.locator("#panel", has_text="This is what it would do").or_(page.locator("#panel .said")).first.wait_for()
    if page.locator("#panel button:has-text('with these consequences')").count():
        assert SceneArea.objects.count() == 0, "shown before it is saved"
        press("#panel button:has-text('with these consequences')")
    saved(page, "Firelight holds there.")
    forgive(page, "422")


def type_mark(page: Any, at: tuple[float, float], code: str, part: str) -> None:
    """As ``place``, of a part that is not there yet."""
    page.mouse.click(*point_of_page(page, *at))
    page.keyboard.type(code)
    page.keyboard.press("Tab")
    page.keyboard.type(part)
    page.keyboard.press("Enter")


def point_at(page: Any, x: float, y: float) -> None:
    """As a hand does, in more than one step: one alone may be the page laid out anew under a pointer at rest."""
    left, top = point_of_page(page, x, y)
    page.mouse.move(left - 1, top - 1)
    page.mouse.move(left, top)


def is_the_l() -> None:
    area = SceneArea.objects.get()
    assert area.outline is not None
    assert len(area.outline[0]) == len(CORNERS)
    assert holds(area.outline, *IN_IT)
    assert not holds(area.outline, *BESIDE)


@pytest.mark.parametrize("way", ["mouse", "keys", "touch"])
def test_a_scene_holds_within_an_outline(
    visit: Visit, colourist: Any, guide: Guide, coat: Part, firelight: Scene, way: str
) -> None:
    inside = make_mark(guide, "YR3B2", part=coat, x=IN_IT[0], y=IN_IT[1], by=colourist)
    beside = make_mark(guide, "YR3B2", part=coat, x=BESIDE[0], y=BESIDE[1], by=colourist)
    page = visit(colourist, guide.get_absolute_url(), **(PHONE if way == "touch" else {}))
    press = page.tap if way == "touch" else page.click
    if way == "keys":
        page.focus("#stage")
        page.keyboard.press("Alt+o")
        for x, y in CORNERS:
            point_at(page, x, y)
            page.keyboard.press("Enter")
        page.keyboard.press("Alt+d")
        press = lambda selector: page.press(selector, "Enter")  # noqa: E731
    else:
        press("[data-mode=scene]")
        press("button:has-text('Outline (')")
        point = page.touchscreen.tap if way == "touch" else page.mouse.click
        for x, y in [*CORNERS, CORNERS[0]]:
            point(*point_of_page(page, x, y))
    let_hold(page, firelight, press)
    is_the_l()
    assert page.locator("#overlay .scene-area path").count() == 1
    scenes = dict(Mark.objects.values_list("pk", "scene"))
    assert scenes == {inside.pk: firelight.pk, beside.pk: None}
    if way == "keys":
        page.focus("#stage")
        page.keyboard.press("Control+z")
        page.press("#panel button.main:has-text('Undo with these consequences')", "Enter")
        saved(page, "Undone: scene Firelight.")
        forgive(page, "422")
        assert set(Mark.objects.values_list("scene", flat=True)) == {None}


def test_a_scene_is_held_to_some_parts_from_its_page(
    visit: Visit, lead: Any, series: Series, guide: Guide, coat: Part, firelight: Scene
) -> None:
    skin = make_part(costume=coat.costume, name="skin")
    make_lock(skin, "YR", by=lead)
    page = visit(lead, reverse("scene", args=[series.slug, firelight.pk]))
    page.click("text=Change it")
    page.fill("[name=falls_on]", "skin")
    page.press("[name=name]", "Enter")
    page.locator("text=only on:").first.wait_for()
    assert skin.full_name in page.locator(".tally").inner_text()
    page = visit(lead, reverse("page-scenes", args=[series.slug, guide.pk]))
    page.select_option("[name=scene]", str(firelight.pk))
    page.click("button.main")
    page.locator("text=on some parts only").wait_for()
    on_skin, on_coat = make_mark(guide, "YR", part=skin, by=lead), make_mark(guide, "YR3B2", part=coat, by=lead)
    assert (on_skin.scene_id, on_coat.scene_id) == (firelight.pk, None)


@pytest.mark.parametrize("phone", [False, True])
def test_a_sky_is_made_where_it_is_marked_and_is_not_the_same(
    visit: Visit, lead: Any, series: Series, guide: Guide, firelight: Scene, phone: bool
) -> None:
    page = visit(lead, reverse("page-scenes", args=[series.slug, guide.pk]), **(PHONE if phone else {}))
    page.select_option("[name=scene]", str(firelight.pk))
    (page.tap if phone else page.click)("button.main")
    page.locator("li", has_text="25 % more magenta; the whole page").wait_for()
    page.click(f"h1 a:has-text('{guide}')")
    type_mark(page, (0.3, 0.3), "b2", "sky")
    made = page.locator("#panel button", has_text="Make “sky”")
    made.wait_for()
    if phone:  # what is asked is longer than the form in whose place it stands; its mark is still in sight above it
        assert point_of_page(page, 0.3, 0.3)[1] < page.locator("#panel-sheet").bounding_box()["y"]
        made.tap()
    else:
        page.keyboard.press("Enter")
    saved(page, "Saved.")
    queue_is_empty(page)
    forgive(page, "422")
    sky = Part.objects.get(name="sky")
    assert (sky.full_name, sky.held_within) == ("Backgrounds, as drawn: sky", Within.SCENE)
    if phone:  # that the sky can be made by touch; what follows is no other there, behind the sheet at the foot
        return
    for x, code in ((0.5, "b2"), (0.7, "b")):
        place(page, (x, 0.3), code, "sky")
        saved(page, "Saved.")
    queue_is_empty(page)
    flagged = Mark.objects.open().get()
    assert (flagged.written, flagged.flag_kind) == ("b", FlagKind.NOT_THE_SAME)
    assert "Not the same as elsewhere in this scene" in page.locator("#panel").inner_text()


def test_a_fill_in_asks_for_it(visit: Visit, colourist: Any, guide: Guide) -> None:
    page = visit(colourist, guide.get_absolute_url())
    type_mark(page, (0.3, 0.3), "b2", "sky")
    page.locator("#panel button", has_text="ask for “sky”").wait_for()
    page.keyboard.press("Enter")
    saved(page, "Saved.")
    forgive(page, "422")
    mark = Mark.objects.get()
    assert mark.part is None
    assert "“sky”" in MarkNote.objects.get(mark=mark).text
