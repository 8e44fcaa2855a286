"""What is handed off for an edition: each mark's code as it is needed there, and where that is not what is written."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from django.urls import reverse

from bible.colour.shifts import Op, Shift, Step
from bible.models import Scene
from bible.scenes.services import HeldTo, set_scene
from bible.series.presses import condition
from guides.core.in_editions import marks_of, open_in, translated
from guides.core.scene_areas import apply_scene
from guides.core.waivers import waive
from guides.handoff.queries import CodeLine, HandOff, issue_hand_off
from guides.models import Mark
from tests.factories import (
    make_edition,
    make_guide,
    make_issues,
    make_lock,
    make_mark,
    make_member,
    make_part,
    make_series,
)
from tests.forms import form_of, link_of, text_of
from tests.pages import client_of

pytestmark = pytest.mark.django_db


class Stage:
    """The first of two issues, a page of it, a coat that is locked to Y and in the album to YR2."""

    def __init__(self) -> None:
        self.series = make_series()
        self.lead = make_member(self.series)
        self.issue, self.second = make_issues(self.series, 2)
        self.guide = make_guide(self.issue, by=self.lead, page="1")
        self.coat = make_part(self.series, name="coat")
        self.hull = make_part(self.series, name="hull")
        make_lock(self.coat, "Y", by=self.lead)
        make_lock(self.hull, "B", by=self.lead)
        self.album = make_edition(self.series, [self.issue], name="Album", press="web-coated-tr003")
        make_lock(self.coat, "YR2", by=self.lead, edition=self.album)

    def mark(self, code: str, part: Any = None, **more: Any) -> Mark:
        mark = make_mark(self.guide, code, part=part or self.coat, by=self.lead, **more)
        return Mark.objects.get(pk=mark.pk)

    def hand_off(self) -> HandOff:
        return issue_hand_off(self.issue, self.album)

    def line(self) -> CodeLine:
        (line,) = self.hand_off().pages[0].lines
        return line


@pytest.fixture
def stage() -> Stage:
    return Stage()


def test_a_right_mark_is_translated(stage: Stage) -> None:
    stage.mark("Y")
    line = stage.line()
    assert (line.code, line.mark.written, line.flag) == ("YR2", "Y", None)
    (first,) = issue_hand_off(stage.issue).pages[0].lines
    assert (first.code, first.instead) == ("Y", None)


def test_a_part_without_a_code_of_its_own_is_printed_as_written(stage: Stage) -> None:
    stage.mark("B", stage.hull)
    assert (stage.line().code, stage.line().instead, stage.hand_off().translated_count) == ("B", None, 0)


def test_a_wrong_mark_stays_open_and_is_held_against_the_edition(stage: Stage) -> None:
    mark = stage.mark("R")
    line = stage.line()
    assert (line.code, line.instead) == ("R", None)
    assert "the bible says YR2" in line.state
    mark.refresh_from_db()
    assert mark.expected == stage.series.read("Y"), "what is stored stays the first printing's"


def test_a_mark_that_is_wrong_in_the_first_printing_may_be_right_in_the_edition(stage: Stage) -> None:
    stage.mark("YR2")
    assert stage.line().flag is None
    assert issue_hand_off(stage.issue).open_count == 1
    assert not open_in(Mark.objects.all(), stage.album).exists()
    assert open_in(Mark.objects.all(), None).count() == 1


def test_an_exception_that_was_allowed_is_printed_as_written(stage: Stage) -> None:
    waive(marks=[stage.mark("R")], reason="disguise", by=stage.lead)
    line = stage.line()
    assert (line.code, line.instead, line.is_open) == ("R", None, False)


def test_what_is_locked_for_the_edition_alone_is_needed_there(stage: Stage) -> None:
    belt = make_part(stage.series, name="belt")
    make_lock(belt, "R", by=stage.lead, edition=stage.album)
    stage.mark("R", belt)
    assert (stage.line().flag, issue_hand_off(stage.issue).open_count) == (None, 1)


def test_light_moves_the_code_of_the_edition_too(stage: Stage) -> None:
    night = set_scene(
        scene=Scene(series=stage.series, name="Night"), rule=Shift((Step(Op.ADD, "c", 50),)), by=stage.lead
    )
    apply_scene(guide=stage.guide, scene=night, by=stage.lead)
    stage.mark("YB3")
    line = stage.line()
    assert (line.code, line.flag) == ("YR2B3", None)
    (page,) = issue_hand_off(stage.issue).pages
    assert page.scenes == ("Night (50 % more cyan): mark 1",)
    set_scene(scene=night, rule=night.rule, by=stage.lead, targets=[HeldTo(part=stage.coat.pk)])
    (page,) = issue_hand_off(stage.issue).pages
    assert page.scenes == (f"Night (50 % more cyan) on {stage.coat.full_name}: mark 1",)
    shown = text_of(client_of(stage.lead).get(reverse("hand-off", args=[stage.series.slug, stage.issue.pk])))
    assert page.scenes[0] in shown


def test_out_of_use_stays_out_of_use(stage: Stage) -> None:
    stage.coat.costume.stretches.create(from_position=stage.second.position)
    mark = stage.mark("Y")
    assert mark.flag_kind == "out-of-use"
    assert stage.line().flag is not None
    assert open_in(marks_of(stage.album), stage.album).count() == 1


def test_plates_and_lists_say_what_to_print(stage: Stage) -> None:
    stage.mark("Y")
    stage.mark("B", stage.hull)
    client = client_of(stage.lead)
    page = client.get(stage.album.get_absolute_url())
    shown = client.get(link_of(page, "Hand-off of issue 1"))
    said = text_of(shown)
    assert "1 not as written" in said
    assert condition(stage.series, "web-coated-tr003").title in said
    table = client.get(link_of(shown, "Marks (CSV)")).content.decode()
    rows = list(csv.DictReader(io.StringIO(table)))
    assert [(row["written"], row["code"], row["instead_of"]) for row in rows] == [("Y", "YR2", "Y"), ("B", "B", "")]
    plates = client.get(link_of(shown, "Plate list (CSV)")).content.decode()
    assert "magenta,25 %,25,25,1" in plates
    assert client.get(link_of(shown, "PDF"))["Content-Disposition"].endswith('-1-1-album.pdf"')
    pack = client.get(link_of(shown, "Everything (zip)"))
    assert pack.status_code == 200
    back = form_of(shown, has="edition").fill(edition="").press(client)
    assert "not as written" not in text_of(back)


def test_another_press_or_other_codes_say_that_nobody_looked(stage: Stage) -> None:
    stage.mark("B", stage.hull)
    (page,) = stage.hand_off().pages
    assert "edition’s codes" in page.sinking_said[-1]


def test_which_marks_are_translated_is_one_query_of_few_parts(stage: Stage) -> None:
    stage.mark("Y")
    stage.mark("B", stage.hull)
    stage.mark("R")
    make_mark(make_guide(stage.second, by=stage.lead), "Y", part=stage.coat, by=stage.lead)
    found = translated(marks_of(stage.album), stage.album)
    assert [(mark.number, stage.series.write(mark.needed)) for mark in found] == [(1, "YR2")]  # type: ignore[attr-defined]


def test_an_issue_prints_on_its_own_press(stage: Stage) -> None:
    client = client_of(stage.lead)
    stage.mark("Y")
    page = client.get(reverse("edit-issue", args=[stage.series.slug, stage.issue.pk]))
    answer = form_of(page, has="press").fill(press="sheet-coated-tr006").press(client)
    assert answer.status_code == 302
    own, usual = (condition(stage.series, name).title for name in ("sheet-coated-tr006", ""))
    for name, args in (("hand-off", stage.issue.pk), ("guide", stage.guide.pk), ("issue", stage.issue.pk)):
        said = text_of(client.get(reverse(name, args=[stage.series.slug, args])))
        assert own in said, name
        assert usual not in said, name
    assert usual in text_of(client.get(reverse("bible", args=[stage.series.slug])))
    assert own in text_of(client.get(reverse("bible", args=[stage.series.slug]) + "?issue=1"))
    assert usual in text_of(client.get(reverse("hand-off", args=[stage.series.slug, stage.second.pk])))


def test_flags_are_asked_for_the_edition(stage: Stage) -> None:
    stage.mark("YR2")
    stage.mark("R")
    make_mark(make_guide(stage.second, by=stage.lead), "R", part=stage.coat, by=stage.lead)
    client = client_of(stage.lead)
    flags = client.get(reverse("flags", args=[stage.series.slug]))
    assert flags.context["total"] == 3
    shown = form_of(flags, has="edition").fill(edition="Album").press(client)
    assert [flag.mark.number for flag in shown.context["flags"]] == [2]
    assert (shown.context["total"], "YR2" in text_of(shown)) == (1, True)
    assert shown.context["flags"][0].mark.expected == stage.series.read("YR2")
    chart = client.get(reverse("gradient", args=[stage.series.slug]) + "?edition=Album")
    assert "This page speaks of the first printing" in text_of(chart)
    assert f"Colours computed for {condition(stage.series).title}" in text_of(chart)
