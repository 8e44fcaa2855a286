"""A page in a light that nobody has told of: asked first, nothing sure before, everything asked again after a yes."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from bible.colour.shifts import Op, Shift, Step
from bible.models import Part, Scene, Series
from bible.scenes.services import HeldTo, set_scene
from guides.desk.services import next_step, undo
from guides.found import services
from guides.found.asking import offer_of
from guides.found.knowing import page_bible
from guides.found.lights import FEWEST, light_of
from guides.models import FoundCode, Guide
from tests.factories import (
    make_costume,
    make_found,
    make_guide,
    make_issue,
    make_lock,
    make_mark,
    make_part,
    make_subject,
)

pytestmark = pytest.mark.django_db

NIGHT = Shift((Step(Op.UP, "c", 1), Step(Op.DOWN, "y", 1)))
DAY_CODES = ("YR", "Y3R2", "YR3", "Y3R", "YR2", "Y2R2", "Y2R")
LIT = ("Y3RB2", "Y2R2B2", "Y3R3B2", "Y2RB2", "Y3R2B2", "R2B2", "RB2")
"""The same in that light, worked by hand: 25 % cyan where there is none, yellow a step less."""


@pytest.fixture
def parts(series: Series, lead: Any) -> list[Part]:
    costume = make_costume(make_subject(series))
    parts = [make_part(costume=costume) for _ in DAY_CODES]
    for part, code in zip(parts, DAY_CODES, strict=True):
        make_lock(part, code)
    return parts


@pytest.fixture
def night(series: Series, lead: Any) -> Scene:
    return set_scene(scene=Scene(series=series, name="Night"), rule=NIGHT, by=lead)


@pytest.fixture
def guide(series: Series, lead: Any) -> Guide:
    return make_guide(make_issue(series), by=lead)


def found_on(guide: Guide, codes: tuple[str, ...], parts: list[Part]) -> list[FoundCode]:
    """Codes down the page, each sure to be its part's."""
    rows = []
    for number, (code, part) in enumerate(zip(codes, parts, strict=True)):
        tint = guide.series.read(code).packed
        clue = {"x": 200, "y": 60 + 70 * number, "area": number + 1, "panel": 0, "readings": [[tint, 0.99]],
                "paint": [[tint, 0.9]], "size": 40.0}  # fmt: skip
        rows.append(make_found(guide, code, part=part, y=0.1 + 0.1 * number, clue=clue))
    return rows


def test_a_lit_page_is_asked_about_its_light(guide: Guide, parts: list[Part], night: Scene) -> None:
    rows = found_on(guide, LIT, parts)
    assert light_of(guide, rows) == offer_of(guide).light == night
    assert light_of(guide, rows[: FEWEST - 1]) is None


def test_a_page_by_day_is_not(guide: Guide, parts: list[Part], night: Scene) -> None:
    assert light_of(guide, found_on(guide, DAY_CODES, parts)) is None


def test_nor_one_on_which_a_scene_holds_or_whose_scene_falls_on_other_things(
    guide: Guide, parts: list[Part], night: Scene, lead: Any, series: Series
) -> None:
    rows = found_on(guide, LIT, parts)
    set_scene(scene=night, rule=NIGHT, by=lead, targets=[HeldTo(make_subject(series).pk)])
    assert light_of(guide, rows) is None


def test_marks_as_by_day_answer_the_question(guide: Guide, parts: list[Part], night: Scene, lead: Any) -> None:
    rows = found_on(guide, LIT, parts)
    for part, code in zip(parts, LIT, strict=True):
        make_mark(guide, code, part=part, by=lead)
    assert light_of(guide, rows) == night, "marks in that light speak for it"
    for _, part, code in zip(range(6), parts * 2, DAY_CODES * 2, strict=False):
        make_mark(guide, code, part=part, by=lead)
    assert light_of(guide, rows) == night, "those in the light and those by day say no more than the codes do"
    for part, code in zip(parts * 2, DAY_CODES * 2, strict=True):
        make_mark(guide, code, part=part, by=lead)
    assert light_of(guide, rows) is None


def test_two_marks_as_by_day_outweigh_what_only_just_spoke_for_a_light(
    guide: Guide, parts: list[Part], night: Scene, lead: Any
) -> None:
    rows = found_on(guide, (*LIT[:2], *DAY_CODES[2:4], *LIT[4:]), parts)
    assert light_of(guide, rows) == night
    for part, code in zip(parts[:2], DAY_CODES[:2], strict=True):
        make_mark(guide, code, part=part, by=lead)
    assert light_of(guide, rows) is None


def test_the_locks_are_asked_for_once_an_answer(guide: Guide, parts: list[Part], night: Scene) -> None:
    found_on(guide, LIT, parts)
    with CaptureQueriesContext(connection) as asked:
        services.ask_the_rest(guide=guide)
    assert sum('FROM "bible_lock"' in query["sql"] for query in asked) == 1


def test_nothing_is_sure_before_and_all_is_asked_again_after(
    guide: Guide, parts: list[Part], night: Scene, lead: Any
) -> None:
    found_on(guide, LIT, parts)
    assert FoundCode.objects.filter(was_sure=True).exists(), "as the factory has them"
    services.ask_the_rest(guide=guide)
    assert not FoundCode.objects.filter(was_sure=True).exists()
    desk = Client()
    desk.force_login(lead)
    page = desk.get(guide.get_absolute_url()).content.decode()
    assert "Does this page stand in “Night”?" in page
    said = {"scene": night.pk, "key": "k" * 9}
    assert desk.post(reverse("draw-scene", args=[guide.series.slug, guide.pk]), said).status_code == 302
    assert offer_of(guide).light is None
    lit = FoundCode.objects.filter(part__in=parts)
    assert {row.expected for row in lit} <= set(LIT)
    assert lit.filter(differs=False).count() == len(LIT)
    step = next_step(guide=guide, by=lead, key="u" * 9, back=True)
    undo(guide=guide, by=lead, key="u" * 9, agreed=step)
    assert offer_of(guide).light == night


def test_a_whole_pages_scene_moves_only_what_its_light_falls_on(
    guide: Guide, parts: list[Part], night: Scene, lead: Any
) -> None:
    set_scene(scene=night, rule=NIGHT, by=lead, targets=[HeldTo(part=parts[0].pk)])
    desk = Client()
    desk.force_login(lead)
    desk.post(reverse("draw-scene", args=[guide.series.slug, guide.pk]), {"scene": night.pk, "key": "k" * 9})
    codes = {part.part: part.code for part in page_bible(guide).parts}
    assert [codes[part.pk] for part in parts[:2]] == [LIT[0], DAY_CODES[1]]


def test_a_costume_out_of_use_is_told_as_such(guide: Guide, series: Series) -> None:
    worn = make_costume(make_subject(series), from_position=guide.issue.position + 1)
    part = make_part(costume=worn)
    bible = page_bible(guide)
    (told,) = [one for one in bible.parts if one.part == part.pk]
    assert told.costume in bible.out_of_use
