"""A page that proposes its own marks: from Today by links, by keys, by mouse and by touch; how many keys forty codes need."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse

from bible.models import Part, Series
from guides.models import FoundCode, Guide, Mark, PageCast
from tests.browser.moves import drag, fits, point_of_page, queue_is_empty
from tests.factories import make_costume, make_found, make_guide, make_issue, make_lock, make_part, make_subject

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]


@pytest.fixture
def page_of_eight(series: Series) -> Guide:
    """Two sure codes, three likely ones, one between coat and hat, one unlike the bible, one that is none."""
    guide = make_guide(make_issue(series), page="7", width=400, height=600)
    costume = make_costume(make_subject(series, name="Ada Penn"), name="work coat")
    parts = {name: make_part(costume=costume, name=name) for name in ("coat", "gloves", "scarf", "boots", "hat")}
    for part in parts.values():
        make_lock(part, "YR3B2")
    make_found(guide, part=parts["coat"], x=0.3, y=0.1)
    make_found(guide, part=parts["gloves"], x=0.6, y=0.1)
    for n, name in enumerate(("scarf", "boots", "hat")):
        make_found(guide, part=parts[name], x=0.2 + 0.25 * n, y=0.3, p_part=0.7)
    owners = [[parts["coat"].pk, "shade", 0.5], [parts["hat"].pk, "shade", 0.35]]
    make_found(guide, part=parts["coat"], role="shade", x=0.3, y=0.5, p_part=0.5, owners=owners)
    make_found(guide, "RB3", part=parts["hat"], x=0.6, y=0.5, differs=True, expected="YR3B2", p_part=0.5)
    make_found(guide, "W", x=0.3, y=0.8, p=0.5, p_part=0.5, p_place=0.3)
    return guide


def waits(page: Any, count: int) -> None:
    """The box has caught up with what was answered."""
    page.wait_for_function("(n) => document.querySelectorAll('#overlay [data-found]').length === n", arg=count)


def from_today(visit: Visit, colourist: Any, series: Series, **options: Any) -> Any:
    page = visit(colourist, reverse("series", args=[series.slug]), **options)
    page.get_by_role("link", name="Page 7").last.click()
    page.locator("#found").wait_for()
    page.wait_for_load_state("networkidle")
    return page


def test_by_keys_alone_from_today_to_the_last_answer(
    visit: Visit, colourist: Any, series: Series, page_of_eight: Guide
) -> None:
    page = from_today(visit, colourist, series)
    waits(page, 8)
    assert page.locator("#overlay .found-place", has_text="RB3 ≠ YR3B2").count() == 1, "both readings, on the picture"
    page.locator("#found [data-found-key=a]").focus()
    page.keyboard.press("a")
    waits(page, 6)
    page.keyboard.press("Control+z")
    waits(page, 8)
    page.locator("#found [data-found-key=a]").wait_for()
    page.locator("#stage").hover()  # no code begins with A: it answers from where the pointer is as well
    page.locator("#stage").focus()
    page.keyboard.press("a")
    waits(page, 6)
    assert page.locator("#overlay .found-numbered").count() == 4
    page.keyboard.press("2")  # its only answer is wrong: it is struck
    page.keyboard.press("4")  # the next answer of the one that is open
    page.get_by_role("status").get_by_text("4: YR3B2 Ada Penn, work coat: hat, shade.").wait_for(state="attached")
    page.keyboard.press("Shift+Digit1")
    assert page.locator(".found-likely .found-struck").count() == 2
    page.keyboard.press("Shift+Digit1")
    assert page.locator(".found-likely .found-struck").count() == 1
    page.keyboard.press("y")
    waits(page, 3)
    for left in (2, 1, 0):
        none = "Read as W" in page.locator(".found-choices").inner_text().replace("\n", " ")
        page.keyboard.press("x" if none else "1")
        waits(page, left)
    page.get_by_text("Every code found on this page is answered").wait_for()
    queue_is_empty(page)
    assert Mark.objects.live().count() == 7
    assert Mark.objects.open().filter(part__name="hat", written="RB3").exists(), "unlike the bible, and flagged"
    assert Mark.objects.live().filter(part__name="hat", role="shade").exists()


def test_a_ring_is_dragged_to_where_its_code_means(
    visit: Visit, colourist: Any, series: Series, page_of_eight: Guide
) -> None:
    page = from_today(visit, colourist, series)
    drag(page, point_of_page(page, 0.3, 0.1), point_of_page(page, 0.45, 0.2))
    waits(page, 7)
    queue_is_empty(page)
    mark = Mark.objects.live().get()
    assert (mark.x, mark.y) == (pytest.approx(0.45, abs=0.02), pytest.approx(0.2, abs=0.02))
    assert mark.found.outcome == FoundCode.Outcome.MOVED


def test_the_page_stays_in_sight_beside_what_is_asked(
    visit: Visit, colourist: Any, series: Series, page_of_eight: Guide
) -> None:
    page = from_today(visit, colourist, series, viewport={"width": 1280, "height": 800})
    page.wait_for_function("() => document.querySelector('#paper img').getBoundingClientRect().height >= 630")
    picture, box, rows = (page.locator(one).bounding_box() for one in ("#paper img", "#found", ".side-list"))
    assert picture["y"] + picture["height"] <= 800
    assert box["x"] > picture["x"] + picture["width"]
    assert box["y"] + box["height"] <= rows["y"], "the list of marks follows"
    assert rows["y"] + rows["height"] <= 850
    page.locator("#found [data-found-key=a]").click()
    waits(page, 6)
    queue_is_empty(page)
    assert page.evaluate("() => scrollY") == 0


def test_on_a_phone_the_page_stays_in_sight_above_what_is_asked(
    visit: Visit, colourist: Any, series: Series, page_of_eight: Guide
) -> None:
    page = from_today(
        visit, colourist, series, viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True
    )
    for left in (8, 6):
        stage, box = (page.locator(one).bounding_box() for one in ("#stage", "#found"))
        assert 0 < box["y"] < 740 - 200, "what is asked is at the foot of the window"
        assert box["y"] - stage["y"] > 0.3 * 740, "and the page above it"
        fits(page, 360)
        if left == 8:
            page.locator("#found button", has_text="Take the 2 sure").tap()
            waits(page, 6)
            queue_is_empty(page)


def test_by_touch_on_a_phone(visit: Visit, colourist: Any, series: Series, page_of_eight: Guide) -> None:
    page = from_today(
        visit, colourist, series, viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True
    )
    fits(page, 360)
    page.locator("#found button", has_text="Take the 2 sure").tap()
    waits(page, 6)
    page.locator(".found-likely select").nth(1).tap()
    page.locator(".found-likely select").nth(1).select_option(label="none of these: asked by itself")
    page.locator(".found-likely select").nth(3).select_option(index=1)
    page.locator(".found-told", has_text="hat, shade").wait_for()
    fits(page, 360)
    page.locator("#found button", has_text="Take them so").tap()
    waits(page, 3)
    fits(page, 360)
    page.locator(".found-choices button").first.tap()
    waits(page, 2)
    queue_is_empty(page)
    assert Mark.objects.live().count() == 6
    assert Mark.objects.live().filter(part__name="hat", role="shade").exists()


def test_forty_codes_of_which_a_quarter_is_wrong_take_few_keys(
    visit: Visit, colourist: Any, series: Series, coat: Part
) -> None:
    """Six sure, twenty-four likely with three wrong among them, ten open ones whose first answer is right: 3 and 3 keys
    for the sheets, with the sure ones on the first, 13 answers. That is 19 of the 25 that a page of forty may take;
    what is pointed at wrongly costs a drag more."""
    guide = make_guide(make_issue(series), page="7", width=400, height=600)
    places = [(0.1 + 0.09 * (n % 10), 0.1 + 0.2 * (n // 10)) for n in range(40)]
    chances = [0.97] * 6 + [0.7] * 24 + [0.2] * 10
    for n, ((x, y), p_part) in enumerate(zip(places, chances, strict=True)):
        part = make_part(costume=coat.costume, name=f"part {n}")
        make_lock(part, "YR3B2")
        make_found(guide, part=part, x=x, y=y, p_part=p_part)
    page = from_today(visit, colourist, series)
    page.locator("#found [data-found-key=a]").focus()
    keys = 0

    def press(key: str, left: int) -> None:
        nonlocal keys
        page.keyboard.press(key)
        keys += 1
        waits(page, left)

    left = 40
    while (shown := page.locator(".found-likely li").count()) > 0:
        press("2", left)
        left -= shown - 1
        press("y", left)
    while left:
        left -= 1
        press("1", left)
    queue_is_empty(page)
    assert Mark.objects.live().count() == 40
    assert keys <= 25


def test_a_letter_that_begins_a_code_marks_and_answers_only_within_the_box(
    visit: Visit, colourist: Any, series: Series, page_of_eight: Guide
) -> None:
    page = from_today(visit, colourist, series)
    waits(page, 8)
    page.locator("#stage").hover()
    page.keyboard.press("y")
    page.locator("#panel [name=written]").wait_for()
    assert page.input_value("#panel [name=written]") == "y"
    waits(page, 8)
    page.keyboard.press("Escape")
    page.locator("#panel [name=written]").wait_for(state="detached")
    page.keyboard.press("1")  # now the sheet is spoken to, though the pointer is over the page
    page.keyboard.press("y")  # the two sure ones go with it
    waits(page, 3)


def test_a_letter_that_begins_a_code_answers_where_the_pointer_is_not_over_the_page(
    visit: Visit, colourist: Any, series: Series, page_of_eight: Guide
) -> None:
    page = from_today(visit, colourist, series)
    waits(page, 8)
    page.mouse.move(0, 0)
    page.evaluate("() => document.activeElement.blur()")
    page.keyboard.press("y")
    waits(page, 2)


@pytest.fixture
def page_of_like_codes(series: Series) -> Guide:
    """Two in the same colours: codes of a coat, twice, and of boots are thought to be Ada’s, and are Eve’s."""
    guide = make_guide(make_issue(series), page="7", width=400, height=600)
    wardrobe = {}
    for name in ("Ada Penn", "Eve Penn"):
        costume = make_costume(make_subject(series, name=name), name="work coat")
        wardrobe[name] = [make_part(costume=costume, name=part) for part in ("coat", "boots")]
    (coat, boots), (hers, her_boots) = wardrobe.values()
    for n in range(2):
        owners = [[coat.pk, "base", 0.5], [hers.pk, "base", 0.4]]
        make_found(guide, part=coat, x=0.3, y=0.2 + 0.4 * n, p_part=0.5, owners=owners)
    owners = [[boots.pk, "base", 0.5], [her_boots.pk, "base", 0.3]]
    make_found(guide, "Y", part=boots, x=0.3, y=0.3, p_part=0.5, owners=owners)
    return guide


def of_eve() -> list[str]:
    marks = Mark.objects.live().filter(part__costume__subject__name="Eve Penn")
    return sorted(marks.values_list("part__name", flat=True))


def test_on_a_sheet_codes_like_one_that_is_changed_are_changed_with_it(
    visit: Visit, colourist: Any, series: Series, page_of_like_codes: Guide
) -> None:
    page = from_today(visit, colourist, series)
    page.keyboard.press("1")
    page.get_by_role("status").get_by_text("1: YR3B2 Eve Penn, work coat: coat. So are 2.").wait_for(state="attached")
    assert page.locator(".found-told", has_text="Eve Penn").count() == 2
    page.keyboard.press("3")
    drag(page, point_of_page(page, 0.3, 0.3), point_of_page(page, 0.5, 0.4))  # as changed, at another place
    waits(page, 2)
    assert page.locator(".found-told", has_text="Eve Penn, work coat: coat").count() == 2, "what is changed stays"
    page.locator("#found [data-found-key=y]").click()
    waits(page, 0)
    queue_is_empty(page)
    assert of_eve() == ["boots", "coat", "coat"]


@pytest.mark.parametrize("way", ["keys", "mouse"])
def test_one_yes_answers_a_figure_and_like_codes_and_one_undo_takes_it_back(
    visit: Visit, colourist: Any, series: Series, page_of_like_codes: Guide, way: str
) -> None:
    page = from_today(visit, colourist, series)
    page.get_by_role("link", name="One after the other").click()
    page.locator(".found-choices").wait_for()
    assert page.locator("#overlay .found-along").count() == 2, "drawn thick before anybody says yes"
    if way == "keys":
        page.keyboard.press("Shift+Digit2")
    else:
        page.locator(".found-along-with").nth(1).get_by_role("button").click()
    waits(page, 0)
    queue_is_empty(page)
    assert of_eve() == ["boots", "coat", "coat"]
    page.locator("#stage").focus()
    page.keyboard.press("Control+z")
    waits(page, 3)
    queue_is_empty(page)
    assert of_eve() == []


@pytest.mark.parametrize("way", ["keys", "touch"])
def test_what_looks_alike_is_no_code_by_one_key_or_tap_and_one_undo(
    visit: Visit, colourist: Any, series: Series, way: str
) -> None:
    guide = make_guide(make_issue(series), page="7", width=400, height=600)
    for n in range(1, 4):
        make_found(guide, "W", x=0.3, y=0.2 * n, p=0.5, p_part=0.3)
    phone = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True}
    page = from_today(visit, colourist, series, **(phone if way == "touch" else {}))
    assert page.locator("#overlay .found-along").count() == 2, "drawn thick before anybody says so"
    if way == "keys":
        page.keyboard.press("n")
    else:
        fits(page, 360)
        page.locator("#found [data-found-key=n]").tap()
    waits(page, 0)
    queue_is_empty(page)
    assert FoundCode.objects.set_aside().count() == 3
    page.locator("[data-step=undo] button").click()
    waits(page, 3)
    queue_is_empty(page)
    assert not Mark.objects.exists()


def test_what_stands_below_a_changed_line_is_asked_anew_and_keeps_its_key(
    visit: Visit, colourist: Any, series: Series, page_of_like_codes: Guide
) -> None:
    page = from_today(visit, colourist, series)
    clue = {"area": 1, "panel": 0, "size": 40.0, "x": 100.0, "y": 100.0}
    for row in FoundCode.objects.all():
        readings = [[series.read(row.code).packed, 0.99]]
        row.clue = clue | {"area": row.pk, "y": 80.0 * row.number, "readings": readings, "paint": readings}
        row.save()
    for part in Part.objects.all():
        make_lock(part, "Y" if part.name == "boots" else "YR3B2")
    page.reload()
    page.keyboard.press("1")
    page.get_by_role("status").get_by_text("Asked anew and otherwise now: 3.").wait_for(state="attached")
    assert page.locator(".found-told", has_text="Eve Penn, work coat: boots").count() == 1
    assert page.locator(".found-anew [data-found-key='3']").count() == 1
    assert not Mark.objects.exists(), "nothing is saved before somebody says yes"
    page.locator("#found [data-found-key=y]").click()
    waits(page, 0)
    queue_is_empty(page)
    assert of_eve() == ["boots", "coat", "coat"]


def test_a_part_that_is_not_offered_takes_two_letters(
    visit: Visit, colourist: Any, series: Series, page_of_eight: Guide
) -> None:
    make_part(costume=Part.objects.get(name="coat").costume, name="zip")
    page = from_today(visit, colourist, series)
    page.goto(f"{page_of_eight.get_absolute_url()}?found={FoundCode.objects.get(part__name='scarf').pk}")
    page.locator(".found-choices").wait_for()
    page.locator("#found [data-found-key=e]").focus()
    page.keyboard.press("e")
    page.locator("#panel [name=part]:focus").wait_for()
    page.keyboard.type("az")
    page.locator("#panel [role=option]", has_text="zip").first.wait_for()
    page.keyboard.press("Enter")
    waits(page, 7)
    queue_is_empty(page)
    mark = Mark.objects.live().filter(part__name="zip", written="YR3B2").get()
    assert mark.found.outcome == FoundCode.Outcome.CORRECTED


def test_by_touch_a_figure_goes_along_on_a_phone(
    visit: Visit, colourist: Any, series: Series, page_of_like_codes: Guide
) -> None:
    page = from_today(
        visit, colourist, series, viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True
    )
    page.get_by_role("link", name="One after the other").tap()
    page.locator(".found-along-with").first.wait_for()
    fits(page, 360)
    page.locator(".found-along-with button").first.tap()
    waits(page, 0)
    queue_is_empty(page)
    assert Mark.objects.live().count() == 3


def test_who_is_on_the_page_is_ticked_by_touch(
    visit: Visit, colourist: Any, series: Series, page_of_eight: Guide
) -> None:
    make_subject(series, name="Old Bosun")
    small = {"width": 360, "height": 780}
    page = from_today(visit, colourist, series, viewport=small, has_touch=True, is_mobile=True)
    page.locator(".found-cast summary").tap()
    for name in ("Ada Penn", "Old Bosun"):
        page.get_by_label(name, exact=True).tap()
    page.get_by_role("button", name="These are on it").tap()
    page.locator(".found-cast summary", has_text="Ada Penn, Old Bosun, says").wait_for()
    queue_is_empty(page)
    assert set(PageCast.objects.of_page(page_of_eight).values_list("subject__name", flat=True)) == {
        "Ada Penn",
        "Old Bosun",
    }
