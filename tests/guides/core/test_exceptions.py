"""Waivers and scenes: what they allow, and when they end."""

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
from bible.locks.services import correct_lock
from bible.models import Lock, Scene, Series
from bible.scenes.services import last_rule, set_scene
from bible.series.refusals import Refused
from guides.core import continuity
from guides.core.scene_areas import FlagsMoved, Region, apply_scene, flags_token, remove_scene
from guides.core.services import delete_mark, move_mark, restore_mark, rewrite_mark
from guides.core.waivers import remove_waiver, waive
from guides.models import Mark, Waiver
from guides.signoff.services import sign_off
from tests.factories import make_guide, make_issues, make_lock, make_mark, make_member, make_part
from tests.forms import form_of, text_of
from tests.shown import agree, fill_in

pytestmark = pytest.mark.django_db
NIGHT = Shift((Step(Op.AT_LEAST, "c", 25), Step(Op.DOWN, "y", 1)))
"""Night: at least 25 % cyan everywhere, yellow one step down (common practice, no source)."""


@pytest.fixture
def issues(series: Series) -> list[Any]:
    return make_issues(series, 3)


@pytest.fixture
def part(series: Series, lead: Any) -> Any:
    part = make_part(series)
    make_lock(part, "YR", by=lead)
    return part


@pytest.fixture
def wrong(part: Any, issues: list[Any]) -> Mark:
    return make_mark(make_guide(issues[0], page="5"), "Y", part=part)


def fresh(mark: Mark) -> Mark:
    return Mark.objects.get(pk=mark.pk)


def counts(series: Series) -> tuple[int, int]:
    assert continuity.discrepancies(series) == []
    marks = Mark.objects.filter(series=series)
    return marks.open().count(), marks.waived().count()


def test_a_waived_flag_is_counted_apart(series: Series, wrong: Mark, lead: Any) -> None:
    assert counts(series) == (1, 0)
    waive(marks=[wrong], reason="in disguise", by=lead)
    assert counts(series) == (0, 1)


def test_a_waiver_dies_for_good_when_the_mark_is_rewritten(series: Series, wrong: Mark, part: Any, lead: Any) -> None:
    (waiver,) = waive(marks=[wrong], reason="in disguise", by=lead)
    rewrite_mark(mark=wrong, written="B", part=part, role="base", by=lead)
    assert counts(series) == (1, 0)
    rewrite_mark(mark=wrong, written="Y", part=part, role="base", by=lead)
    assert counts(series) == (1, 0)
    waiver.refresh_from_db()
    assert waiver.died_at is not None
    assert waiver.died_by is None
    waive(marks=[wrong], reason="again", by=lead)
    assert counts(series) == (0, 1)


def test_a_waiver_dies_when_the_lock_changes(series: Series, wrong: Mark, part: Any, lead: Any) -> None:
    waive(marks=[wrong], reason="in disguise", by=lead)
    lock = part.locks.standing().get()
    correct_lock(lock=lock, tint=series.read("B"), written="B", by=lead, reason="misread")
    assert counts(series) == (1, 0)


def test_a_waiver_dies_when_the_mark_is_given_to_another_part_with_the_same_code(
    series: Series, wrong: Mark, lead: Any
) -> None:
    other = make_part(series)
    make_lock(other, "YR", by=lead)
    waive(marks=[wrong], reason="in disguise", by=lead)
    rewrite_mark(mark=wrong, written="Y", part=other, role="base", by=lead)
    assert counts(series) == (1, 0)


def test_a_waiver_outlives_what_does_not_change_the_disagreement(
    series: Series, wrong: Mark, part: Any, issues: list[Any], lead: Any
) -> None:
    waive(marks=[wrong], reason="in disguise", by=lead)
    move_mark(mark=wrong, x=0.1, y=0.1, by=lead)
    make_lock(part, "B", from_position=issues[2].position)
    assert counts(series) == (0, 1)
    delete_mark(mark=wrong, by=lead)
    assert counts(series) == (0, 0)
    restore_mark(mark=wrong, by=lead)
    assert counts(series) == (0, 1)


def test_what_cannot_be_waived(series: Series, wrong: Mark, part: Any, issues: list[Any], lead: Any) -> None:
    right = make_mark(make_guide(issues[1]), "YR", part=part)
    with pytest.raises(Refused, match="reason"):
        waive(marks=[wrong], reason="  ", by=lead)
    with pytest.raises(Refused, match="nothing to waive"):
        waive(marks=[right], reason="so", by=lead)
    waive(marks=[wrong], reason="so", by=lead)
    with pytest.raises(Refused, match="nothing to waive"):
        waive(marks=[wrong], reason="so", by=lead)
    waiver = Waiver.objects.get()
    remove_waiver(waiver=waiver, by=lead)
    with pytest.raises(Refused):
        remove_waiver(waiver=waiver, by=lead)
    assert counts(series) == (1, 0)


def test_a_run_is_waived_exactly_as_it_was_shown(
    series: Series, part: Any, issues: list[Any], lead_client: Client, wrong: Mark
) -> None:
    """In disguise on pages 5 to 9 of an issue."""
    for page in ("4", "7", "9", "10"):
        make_mark(make_guide(issues[0], page=page), "Y", part=part)
    page = reverse("waive-run", args=[series.slug]) + "?issue=1&first_page=5&last_page=9"
    text = lead_client.get(page).content.decode()
    assert "Waive 3 flags" in text
    token = re.search(r'name="shown" value="(\w+)"', text)
    assert token
    make_mark(make_guide(issues[0], page="8"), "B", part=part)
    answers = {"shown": token[1], "reason": "in disguise"}
    response = lead_client.post(page, answers)
    assert response.status_code == 422
    assert "moved meanwhile" in response.content.decode()
    assert "in disguise" in response.content.decode()
    token = re.search(r'name="shown" value="(\w+)"', response.content.decode())
    assert token
    assert lead_client.post(page, answers | {"shown": token[1]}).status_code == 302
    assert counts(series) == (2, 4)
    listed = lead_client.get(reverse("flags", args=[series.slug])).content.decode()
    assert "2 flags" in listed
    assert "4 waived" in listed


def test_waiving_and_taking_back_from_the_mark(series: Series, wrong: Mark, lead_client: Client) -> None:
    page = reverse("waive-mark", args=[series.slug, wrong.pk])
    assert fill_in(lead_client, page, reason="").status_code == 422
    assert fill_in(lead_client, page, reason="a flashback").status_code == 302
    panel = lead_client.get(wrong.get_absolute_url()).content.decode()
    assert "a flashback" in panel
    answer = form_of(lead_client.get(wrong.get_absolute_url()), says="Take the waiver back").press(lead_client)
    assert answer.status_code == 422
    assert "1 flag would open" in text_of(answer)
    assert counts(series) == (0, 1), "shown, not saved"
    assert agree(lead_client, answer).status_code == 302
    assert counts(series) == (1, 0)


def test_taking_a_waiver_back_names_the_sign_off_that_falls(
    series: Series, wrong: Mark, lead: Any, lead_client: Client
) -> None:
    (waiver,) = waive(marks=[wrong], reason="in disguise", by=lead)
    issue = wrong.guide.issue
    sign_off(issue=issue, by=make_member(series, "editor"), words="as agreed")
    answer = form_of(lead_client.get(wrong.get_absolute_url()), says="Take the waiver back").press(lead_client)
    assert "Saving opens 1 signed-off issue again" in text_of(answer)
    issue.refresh_from_db()
    assert issue.signed_off_at
    remove_waiver(waiver=waiver, by=lead)
    late = form_of(answer, has="shown").press(lead_client)
    assert late.status_code == 302
    assert "does not hold any more" in text_of(lead_client.get(late["Location"]))


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
    answer = form_of(page, says="Take it away").press(lead_client)
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


@pytest.mark.parametrize("moved", ["mark", "lock"])
def test_only_the_flag_that_was_shown_is_waived(
    series: Series, wrong: Mark, part: Any, lead: Any, lead_client: Client, moved: str
) -> None:
    """The form is open while somebody rewrites the mark, or decides that another code holds there."""
    page = reverse("waive-mark", args=[series.slug, wrong.pk])
    form = form_of(lead_client.get(page), has="reason")
    if moved == "mark":
        rewrite_mark(mark=wrong, written="B2", part=part, role="base", by=lead)
    else:
        correct_lock(lock=Lock.objects.get(), tint=series.read("R3"), written="R3", by=lead, reason="mistaken")
    answer = form.fill(reason="in disguise").press(lead_client)
    assert answer.status_code == 422
    text = answer.content.decode()
    assert "moved meanwhile" in text
    assert ("B2" if moved == "mark" else "R3") in text, "it shows what is there now"
    assert counts(series) == (1, 0)
    assert form_of(answer, has="reason").press(lead_client).status_code == 302, "what was typed is kept"
    assert counts(series) == (0, 1)
    assert Waiver.objects.get().reason == "in disguise"


def test_a_form_that_showed_nothing_waives_nothing(series: Series, wrong: Mark, lead_client: Client) -> None:
    page = reverse("waive-mark", args=[series.slug, wrong.pk])
    assert lead_client.post(page, {"reason": "so"}).status_code == 422
    assert counts(series) == (1, 0)


@pytest.mark.backend("postgresql")
@pytest.mark.django_db(transaction=True)
def test_a_flag_that_moves_while_it_is_being_waived(series: Series, wrong: Mark, part: Any, lead: Any) -> None:
    """The yes comes while somebody is rewriting the mark: it waits for that, and then looks once more."""
    seen = flags_token([fresh(wrong)])

    def waive_it() -> None:
        try:
            waive(marks=[wrong], reason="in disguise", by=lead, seen=seen)
        finally:
            connection.close()

    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            rewrite_mark(mark=wrong, written="B2", part=part, role="base", by=lead)
            waiting = pool.submit(waive_it)
            with pytest.raises(TimeoutError):
                waiting.result(0.5)
        with pytest.raises(FlagsMoved):
            waiting.result(20)
    assert counts(series) == (1, 0)


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
    from concurrent.futures import ThreadPoolExecutor

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
