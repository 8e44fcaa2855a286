"""Settling a bible from its guides."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bible.colour.shifts import Op, Shift, Step
from bible.models import Lock, Part, Scene, Series
from bible.scenes.services import set_scene
from bible.series.refusals import Refused
from guides.core import continuity
from guides.core.scene_areas import apply_scene
from guides.core.services import place_marks
from guides.decisions.settle import accept, settle, settle_all, subjects_to_settle
from guides.models import Mark
from tests.factories import make_found, make_guide, make_issues, make_lock, make_mark, make_part
from tests.forms import text_of
from tests.pages import client_of
from tests.shown import agree

pytestmark = pytest.mark.django_db


@pytest.fixture
def part(series: Series, lead: Any) -> Part:
    """Two marks an issue over twelve issues: YR, from issue 7 on Y; one slip in issue 3; a night page in issue 5."""
    part = make_part(series, name="coat")
    night = set_scene(scene=Scene(series=series, name="Night"), rule=Shift((Step(Op.ADD, "c", 25),)), by=lead)
    for number, issue in enumerate(make_issues(series, 12), 1):
        said = ["YR" if number < 7 else "Y"] * 2
        if number == 3:
            said[1] = "YR3"
        guide = make_guide(issue, by=lead)
        place_marks(guide=guide, by=lead, rows=[(0.5, 0.5, text, part, "base") for text in said])
        if number == 5:
            dark = make_guide(issue, by=lead)
            apply_scene(guide=dark, scene=night, by=lead)
            place_marks(guide=dark, by=lead, rows=[(0.5, 0.5, "YRB2", part, "base")] * 4)
    return part


def of(series: Series, part: Part) -> Any:
    (found,) = settle(series, Part.objects.filter(pk=part.pk))
    return found


def test_the_history_with_its_evidence(series: Series, part: Part) -> None:
    first, second = of(series, part).locks
    assert (series.write(first.tint), first.from_position, first.first.number, first.last.number) == (
        "YR",
        0,
        "1",
        "6",
    )
    assert (series.write(second.tint), second.first.number, second.to_position) == ("Y", "7", None)
    assert first.to_position == second.from_position == series.issues.get(number="7").position
    assert (first.agree, first.pages, second.agree) == (11, 6, 12)
    (odd,) = first.odd
    assert (odd.issue, series.write(odd.tint)) == ("3", "YR3")
    assert first.firm


def test_accepting_leaves_only_what_is_odd_flagged(series: Series, part: Part, lead: Any) -> None:
    assert accept(series=series, settlements=[of(series, part)], by=lead) == 2
    assert continuity.discrepancies(series) == []
    flagged = Mark.objects.filter(series=series).open()
    assert [(mark.written, mark.guide.issue.number) for mark in flagged] == [("YR3", "3")]
    assert settle(series, Part.objects.filter(pk=part.pk)) == []


def test_what_somebody_locked_meanwhile_is_not_overruled(series: Series, part: Part, lead: Any) -> None:
    found = of(series, part)
    make_lock(part, "B", by=lead, from_position=series.issues.get(number="9").position)
    with pytest.raises(Refused, match=r"locked B for .*coat meanwhile"):
        accept(series=series, settlements=[found], by=lead)
    assert Lock.objects.count() == 1


def test_accepting_on_the_page(series: Series, part: Part, lead_client: Client) -> None:
    page = reverse("settle-subject", args=[series.slug, part.costume.subject_id])
    text = lead_client.get(page).content.decode()
    token = re.search(r'name="seen" value="(\w+)"', text)
    assert token
    assert lead_client.post(page, {"seen": token[1]}).status_code == 422
    guide = make_guide(series.issues.get(number="12"))
    place_marks(guide=guide, by=guide.uploaded_by, rows=[(0.5, 0.5, "B", part, "base")] * 5)
    answers = {"part": f"{part.pk}-base", "seen": token[1]}
    moved = lead_client.post(page, answers)
    assert "moved meanwhile" in moved.content.decode()
    assert not Lock.objects.exists()
    token = re.search(r'name="seen" value="(\w+)"', moved.content.decode())
    assert token
    assert agree(lead_client, lead_client.post(page, answers | {"seen": token[1]})).status_code == 302
    assert [lock.written for lock in Lock.objects.order_by("from_position")] == ["YR", "Y", "B"]


def test_settling_everything_step_by_step(
    series: Series, part: Part, lead: Any, lead_client: Client, monkeypatch: Any
) -> None:
    doubtful = make_part(series)
    guide = make_guide(series.issues.get(number="1"), by=lead)
    place_marks(guide=guide, by=lead, rows=[(0.5, 0.5, "B", doubtful, "base")])
    monkeypatch.setattr("guides.decisions.views.STEP_SECONDS", -1)
    page = reverse("settle-everything", args=[series.slug])
    first = lead_client.post(page).content.decode()
    assert "1 of 2 subjects, 2 locks" in first
    fields = dict(re.findall(r'name="(after|done|locks)" value="(\d+)"', first))
    second = lead_client.post(page, fields, HTTP_HX_REQUEST="true").content.decode()
    assert "2 of 2 subjects, 2 locks" in second
    assert "Locked" in second
    assert [subject.pk for subject in subjects_to_settle(series)] == [doubtful.costume.subject_id]


def test_all_subjects_come_one_by_one(series: Series, part: Part) -> None:
    subjects = subjects_to_settle(series)
    ((subject, found),) = settle_all(series, subjects)
    assert subject == part.costume.subject
    assert [one.key for one in found] == [f"{part.pk}-base"]


@pytest.mark.parametrize("said", ["²", "٣", "-1", "9" * 30, "9" * 5000, "1\0"])
def test_settling_all_begins_at_the_beginning_for_no_number(
    series: Series, part: Part, lead_client: Client, said: str
) -> None:
    page = reverse("settle-everything", args=[series.slug])
    answer = lead_client.post(page, {"after": said, "done": said, "locks": said})
    assert answer.status_code == 200
    assert Lock.objects.of(part.pk, "base").standing().count() == 2


def test_found_codes_speak_more_softly_than_marks(series: Series, part: Part, lead: Any) -> None:
    """Three of them outweigh no mark; without a mark they are told, and nothing is clear."""
    guide = make_guide(series.issues.get(number="12"), by=lead)
    for n in range(3):
        make_found(guide, "B", part=part, y=0.2 + 0.1 * n)
    other = make_part(series, name="scarf")
    for n in range(9):
        make_found(guide, "B2", part=other, x=0.1 * n)
    make_found(guide, "R", part=other, p_part=0.4)
    make_found(guide, "Y", part=other, unreadable=True)
    first, second = of(series, part).locks
    assert (series.write(second.tint), second.unconfirmed, second.firm, first.firm) == ("Y", 0, True, True)
    (scarf,) = settle(series, Part.objects.filter(pk=other.pk))
    (lock,) = scarf.locks
    assert (series.write(lock.tint), lock.agree, lock.unconfirmed, lock.firm) == ("B2", 0, 9, False)
    assert other.costume.subject in subjects_to_settle(series)
    page = client_of(lead).get(reverse("settle-subject", args=[series.slug, other.costume.subject_id]))
    assert "no mark, 9 found codes nobody has looked at" in text_of(page)


def test_found_codes_join_a_mark_and_make_nothing_clear(series: Series, lead: Any) -> None:
    part, issue = make_part(series), make_issues(series, 1)[0]
    guide = make_guide(issue, by=lead)
    make_mark(guide, "YR", part=part, by=lead)
    for n in range(5):
        make_found(guide, "YR", part=part, y=0.1 + 0.1 * n)
    (lock,) = of(series, part).locks
    assert (lock.agree, lock.unconfirmed, lock.firm) == (1, 5, False)
    make_mark(guide, "YR", part=part, by=lead, x=0.9)
    assert of(series, part).is_firm
    for n in range(12):
        make_found(guide, "B", part=part, y=0.05 * n)
    assert not of(series, part).is_firm, "many that nobody has looked at make two marks doubtful"


def test_found_codes_under_a_scene_or_of_a_locked_part_say_nothing(series: Series, lead: Any) -> None:
    part, issue = make_part(series), make_issues(series, 1)[0]
    guide = make_guide(issue, by=lead)
    night = set_scene(scene=Scene(series=series, name="Night"), rule=Shift((Step(Op.ADD, "c", 25),)), by=lead)
    make_found(guide, "YRB2", part=part)
    assert subjects_to_settle(series) == [part.costume.subject]
    apply_scene(guide=guide, scene=night, by=lead)
    assert subjects_to_settle(series) == settle(series, Part.objects.filter(pk=part.pk)) == []
    make_found(make_guide(issue, by=lead), "YR", part=part)
    make_lock(part, "YR")
    assert subjects_to_settle(series) == settle(series, Part.objects.filter(pk=part.pk)) == []
