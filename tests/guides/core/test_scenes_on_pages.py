"""Scenes on pages: what they change, where they end, and who is told."""

from __future__ import annotations

import re
import time
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.db import connection, transaction
from django.test import Client
from django.urls import reverse

from bible.colour.shifts import Op, Shift, Step
from bible.models import Scene, Series
from bible.scenes.services import last_rule, set_scene
from bible.series.refusals import Refused
from guides.core import continuity
from guides.core.scene_areas import Region, apply_scene, remove_scene
from guides.core.services import move_mark
from guides.signoff.services import sign_off
from tests.factories import make_guide, make_issues, make_mark, make_member
from tests.forms import form_of, text_of
from tests.guides.core.flags_counted import counts, fresh
from tests.shown import agree

pytestmark = pytest.mark.django_db


NIGHT = Shift((Step(Op.AT_LEAST, "c", 25), Step(Op.DOWN, "y", 1)))
"""Night: at least 25 % cyan everywhere, yellow one step down (common practice, no source)."""


def test_a_scene_is_taken_away_with_the_consequences_that_were_shown(
    series: Series, part: Any, issues: list[Any], lead: Any, lead_client: Client
) -> None:
    """One mark is right only at night, one only by day; a third comes in between the look and the yes."""
    night = set_scene(scene=Scene(series=series, name="Night"), rule=NIGHT, by=lead)
    guide = make_guide(issues[0])
    apply_scene(guide=guide, scene=night, by=lead)
    make_mark(guide, "YR", part=part)
    make_mark(guide, "Y3RB2", part=part)
    sign_off(issue=issues[0], by=make_member(series, "editor"), words="one by day")
    page = lead_client.get(reverse("page-scenes", args=[series.slug, guide.pk]))
    answer = form_of(page, says="Remove Night").press(lead_client)
    assert answer.status_code == 422
    assert "1 flag would open, 1 would close" in text_of(answer)
    assert "Saving opens 1 signed-off issue again" in text_of(answer)
    assert guide.scene_areas.standing().exists(), "shown, not saved"
    make_mark(guide, "Y3RB2", part=part)
    moved = form_of(answer, has="shown").press(lead_client)
    assert moved.status_code == 422
    assert "moved meanwhile" in text_of(moved)
    assert "2 flags would open, 1 would close" in text_of(moved)
    assert guide.scene_areas.standing().exists()
    assert agree(lead_client, moved).status_code == 302
    assert not guide.scene_areas.standing().exists()
    assert counts(series) == (2, 0)


def test_night_falls_on_a_page(series: Series, part: Any, issues: list[Any], lead: Any) -> None:
    night = set_scene(scene=Scene(series=series, name="Night"), rule=NIGHT, by=lead)
    guide = make_guide(issues[0])
    day = make_mark(guide, "YR", part=part)
    dark = make_mark(guide, "Y3RB2", part=part)
    assert (fresh(day).flag_kind, fresh(dark).flag_kind is None) == (None, False)
    area = apply_scene(guide=guide, scene=night, by=lead)
    assert fresh(dark).flag_kind is None
    assert fresh(day).flag_kind is not None
    assert series.write(fresh(day).expected) == "Y3RB2"
    set_scene(scene=night, rule=Shift((Step(Op.DOWN, "m", 1),)), by=lead)
    assert series.write(fresh(day).expected) == "YR3"
    remove_scene(area=area, by=lead)
    assert fresh(day).flag_kind is None
    assert counts(series) == (1, 0)


def test_a_lamp_within_the_night(series: Series, part: Any, issues: list[Any], lead: Any) -> None:
    night = set_scene(scene=Scene(series=series, name="Night"), rule=NIGHT, by=lead)
    lamp = set_scene(scene=Scene(series=series, name="Lamp"), rule=Shift((Step(Op.DOWN, "m", 1),)), by=lead)
    guide = make_guide(issues[0])
    mark = make_mark(guide, "YR", part=part, x=0.2, y=0.2)
    apply_scene(guide=guide, scene=lamp, region=Region(0, 0, 0.5, 0.5), by=lead)
    apply_scene(guide=guide, scene=night, by=lead)
    assert fresh(mark).scene == lamp
    move_mark(mark=mark, x=0.8, y=0.8, by=lead)
    assert fresh(mark).scene == night
    assert counts(series) == (1, 0)


def test_two_leads_change_a_rule(series: Series, lead: Any) -> None:
    night = set_scene(scene=Scene(series=series, name="Night"), rule=NIGHT, by=lead)
    seen = last_rule(night)
    set_scene(scene=night, rule=Shift((Step(Op.UP, "c", 1),)), by=lead)
    with pytest.raises(Refused, match="meanwhile to: cyan 1 step up"):
        set_scene(scene=night, rule=NIGHT, by=lead, seen=seen)


def test_scene_pages_show_consequences_first(
    series: Series, part: Any, issues: list[Any], lead_client: Client
) -> None:
    page = reverse("new-scene", args=[series.slug])
    half_said = {"name": "Night", "rule_c_0": "at-least", "rule_c_1": ""}
    assert lead_client.post(page, half_said).status_code == 422
    assert not Scene.objects.exists()
    rule = {"name": "Night", "rule_c_0": "at-least", "rule_c_1": "25", "rule_y_0": "down", "rule_y_1": "1"}
    assert lead_client.post(page, rule).status_code == 302
    scene = Scene.objects.get()
    assert scene.rule == NIGHT
    guide = make_guide(issues[0])
    mark = make_mark(guide, "YR", part=part)
    place = reverse("page-scenes", args=[series.slug, guide.pk])
    response = lead_client.post(place, {"scene": scene.pk})
    assert response.status_code == 422
    assert "<strong>1</strong> flag would open" in response.content.decode()
    assert fresh(mark).scene is None
    token = re.search(r'name="shown" value="(\w+)"', response.content.decode())
    assert token
    assert lead_client.post(place, {"scene": scene.pk, "shown": token[1]}).status_code == 302
    assert fresh(mark).scene == scene
    edit = reverse("edit-scene", args=[series.slug, scene.pk])
    response = lead_client.post(edit, rule | {"rule_c_1": "50", "rule_y_0": "", "rule_y_1": ""})
    assert response.status_code == 302, "the flag stays a flag: no consequence"
    shown = lead_client.get(reverse("scene", args=[series.slug, scene.pk]), {"subject": part.costume.subject_id})
    assert "YRB3" in shown.content.decode()


def test_a_scene_may_only_say_which_panels_belong_together(series: Series, lead_client: Client) -> None:
    """It has no rule then: what is the same within a scene is held together there, and no ink moves."""
    assert lead_client.post(reverse("new-scene", args=[series.slug]), {"name": "On the roof"}).status_code == 302
    assert Scene.objects.get().rule == Shift()


@pytest.mark.parametrize(
    ("answers", "says"),
    [
        ({"left": 60, "right": 40}, "It must end behind"),
        ({"left": 120}, "less than or equal to 100"),
        ({"scene": 99}, "valid choice"),
    ],
)
def test_areas_that_are_none(
    series: Series, issues: list[Any], lead: Any, lead_client: Client, answers: dict[str, Any], says: str
) -> None:
    scene = set_scene(scene=Scene(series=series, name="Night"), rule=NIGHT, by=lead)
    page = reverse("page-scenes", args=[series.slug, make_guide(issues[0]).pk])
    response = lead_client.post(page, {"scene": scene.pk} | answers)
    assert response.status_code == 422
    assert says in response.content.decode()


def test_an_area_of_no_extent_or_off_the_page_is_refused(series: Series, issues: list[Any], lead: Any) -> None:
    scene = set_scene(scene=Scene(series=series, name="Night"), rule=NIGHT, by=lead)
    guide = make_guide(issues[0], by=lead)
    for region in (Region(0.5, 0, 0.5, 1), Region(0, 0.6, 1, 0.4), Region(-0.1, 0, 1, 1), Region(0, 0, 1, 1.1)):
        with pytest.raises(Refused, match="must lie on the page"):
            apply_scene(guide=guide, scene=scene, region=region, by=lead)
    assert not guide.scene_areas.exists()


def test_the_same_scene_in_the_same_place_twice_is_told(
    series: Series, issues: list[Any], lead: Any, lead_client: Client
) -> None:
    scene = set_scene(scene=Scene(series=series, name="Night"), rule=NIGHT, by=lead)
    guide = make_guide(issues[0], by=lead)
    page = reverse("page-scenes", args=[series.slug, guide.pk])
    assert lead_client.post(page, {"scene": scene.pk}).status_code == 302
    response = lead_client.post(page, {"scene": scene.pk})
    assert response.status_code == 422
    assert "Night holds there already" in response.content.decode()
    assert guide.scene_areas.standing().count() == 1


@pytest.mark.backend("postgresql")
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("deed", ["applied", "removed"])
def test_a_mark_placed_while_a_scene_changes_gets_what_holds_in_the_end(series: Series, lead: Any, deed: str) -> None:
    """Whoever changes a page's scenes holds the page; a mark from another connection waits."""

    guide = make_guide(make_issues(series, 1)[0], by=lead)
    night = set_scene(scene=Scene(series=series, name="Night"), rule=NIGHT, by=lead)
    area = apply_scene(guide=guide, scene=night, by=lead) if deed == "removed" else None

    def place() -> None:
        try:
            make_mark(guide, "Y", by=lead)
        finally:
            connection.close()

    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            if area:
                remove_scene(area=area, by=lead)
            else:
                apply_scene(guide=guide, scene=night, by=lead)
            placing = pool.submit(place)
            time.sleep(0.5)
            assert not placing.done()
        placing.result(timeout=20)
    assert guide.marks.get().scene == (None if area else night)
    assert continuity.discrepancies(series) == []
