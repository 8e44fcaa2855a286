"""Beside the marks: the cast, the issue before, notes for pages, scenes drawn on panels."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from bible.colour.shifts import Op, Shift, Step
from bible.models import Scene, Series
from bible.scenes.services import set_scene
from bible.series.presses import condition
from bible.series.refusals import Refused
from guides.desk.cast import cast_of, issue_before, proposals
from guides.desk.page_notes import bring_page_note_back, remove_page_note, write_page_note
from guides.models import Guide, PageNote, SceneArea
from tests.factories import (
    make_costume,
    make_guide,
    make_issue,
    make_issues,
    make_lock,
    make_mark,
    make_part,
    make_subject,
)
from tests.pages import htmx, member_client

pytestmark = pytest.mark.django_db

PANEL = htmx("panel")


@pytest.fixture
def guide(series: Series) -> Guide:
    return make_guide(make_issue(series))


def url(name: str, guide: Guide) -> str:
    return reverse(name, args=[guide.series.slug, guide.pk])


class TestCast:
    def test_parts_in_use_with_the_codes_locked_as_of_the_issue(self, series: Series, fill_in_client: Client) -> None:
        first, second = make_issues(series, 2)
        ada = make_subject(series, name="Ada")
        coat = make_part(costume=make_costume(ada, name="work"), name="coat")
        gone = make_costume(ada, name="old", to_position=second.position)
        make_part(costume=gone, name="hat")
        make_lock(coat, "YR3B2", to_position=second.position)
        make_lock(coat, "Y2", from_position=second.position)
        early, late = (
            fill_in_client.get(url("cast", make_guide(issue))).json()["parts"] for issue in (first, second)
        )
        assert [part["name"] for part in early] == ["Ada, work: coat", "Ada, old: hat"]
        assert [part["name"] for part in late] == ["Ada, work: coat"]
        assert [part["codes"][0]["code"] for part in (early[0], late[0])] == ["YR3B2", "Y2"]
        assert late[0]["codes"][0]["fill"] == condition(series).hex(series.read("Y2"))

    def test_unchanged_is_said_so(self, fill_in_client: Client, guide: Guide) -> None:
        first = fill_in_client.get(url("cast", guide))
        second = fill_in_client.get(url("cast", guide), headers={"If-None-Match": first["ETag"]})
        assert (first.status_code, second.status_code) == (200, 304)

    def test_as_many_queries_for_many_parts(self, series: Series, fill_in_client: Client, guide: Guide) -> None:
        counts = []
        for _ in range(2):
            for _ in range(4):
                make_lock(make_part(series), "YR")
            with CaptureQueriesContext(connection) as asked:
                fill_in_client.get(url("cast", guide))
            counts.append(len(asked))
        assert counts[0] == counts[1]


class TestTheIssueBefore:
    @pytest.fixture
    def before(self, series: Series) -> Guide:
        return make_guide(make_issue(series), page="3")

    @pytest.fixture
    def now(self, series: Series, before: Guide) -> Guide:
        return make_guide(make_issue(series), page="3")

    def test_the_page_first_then_the_others_each_once(self, series: Series, before: Guide, now: Guide) -> None:
        coat, hat = make_part(series, name="coat"), make_part(series, name="hat")
        other = make_guide(before.issue, page="1")
        make_mark(other, "R", part=hat)
        make_mark(other, "B")
        make_mark(before, "Y", part=coat)
        make_mark(before, "Y", part=coat)
        make_mark(before, "B2")
        found = proposals(now, before.issue)
        assert [one.mark.written for one in found] == ["Y", "B2", "R"], "no background of another page"

    def test_what_the_page_has_is_left_out(self, series: Series, before: Guide, now: Guide) -> None:
        coat = make_part(series, name="coat")
        make_mark(before, "Y", part=coat)
        make_mark(now, "Y", part=coat)
        assert proposals(now, before.issue) == []

    def test_where_the_bible_has_changed_its_code_is_proposed_and_said(
        self, series: Series, before: Guide, now: Guide, fill_in_client: Client
    ) -> None:
        coat = make_part(series, name="coat")
        make_lock(coat, "Y", to_position=now.issue.position)
        make_lock(coat, "Y2", from_position=now.issue.position)
        make_mark(before, "Y", part=coat)
        [one] = proposals(now, before.issue)
        assert (one.code, one.now) == ("Y2", "Y2")
        assert "the bible has changed" in fill_in_client.get(url("last-issue", now)).content.decode()

    def test_a_fade_is_proposed_whole_and_said_where_it_has_changed(
        self, series: Series, before: Guide, now: Guide
    ) -> None:
        sky, sea = make_part(series, name="sky"), make_part(series, name="sea")
        for part in (sky, sea):
            make_lock(part, "B to W downwards")
        make_lock(sky, "B to B2 downwards", from_position=now.issue.position)
        down: dict[str, Any] = {"x": 0.5, "y": 0.2, "to": (0.5, 0.6)}
        up: dict[str, Any] = {"x": 0.7, "y": 0.6, "to": (0.7, 0.2)}
        make_mark(before, "B", part=sky, to_written="W", **down)
        make_mark(before, "W", part=sea, to_written="B", **up)  # upwards, from the fade's end: the same
        assert [(one.code, one.now) for one in proposals(now, before.issue)] == [("B to B2", "B to B2"), ("W", "")]
        (cast,) = [part for part in cast_of(series, now.issue.position, condition(series)) if part["part"] == "sky"]
        (code,) = cast["codes"]
        fills = tuple(condition(series).hex(series.read(written)) for written in ("B", "B2"))
        assert (code["code"], code["fill"], code["fill_to"]) == ("B to B2", *fills)

    def test_what_was_meant_otherwise_stays_as_it_was_written(
        self, series: Series, before: Guide, now: Guide
    ) -> None:
        coat = make_part(series, name="coat")
        make_lock(coat, "Y")
        make_mark(before, "Y3", part=coat)
        [one] = proposals(now, before.issue)
        assert (one.code, one.now) == ("Y3", "")

    def test_of_one_subject(self, series: Series, before: Guide, now: Guide, fill_in_client: Client) -> None:
        ada, bob = make_subject(series, name="Ada"), make_subject(series, name="Bob")
        for subject, code in ((ada, "Y"), (bob, "R")):
            make_mark(before, code, part=make_part(costume=make_costume(subject), name="coat"))
        answer = fill_in_client.get(url("last-issue", now), {"subject": bob.pk}, headers=PANEL)
        assert [one.mark.written for one in answer.context["proposals"]] == ["R"]
        for nonsense in ("x", "9" * 30, "²"):
            assert fill_in_client.get(url("last-issue", now), {"subject": nonsense}).status_code == 200

    def test_the_first_issue_has_none_before(self, guide: Guide, fill_in_client: Client) -> None:
        assert issue_before(guide.issue) is None
        assert "No earlier issue has marks." in fill_in_client.get(url("last-issue", guide)).content.decode()

    def test_without_script_a_proposal_fills_the_form(
        self, series: Series, before: Guide, now: Guide, fill_in_client: Client
    ) -> None:
        make_mark(before, "Y3", part=make_part(series, name="coat"))
        [one] = proposals(now, before.issue)
        form = fill_in_client.get(url("new-mark", now), one.saying).context["form"]
        assert form.initial | one.saying == form.initial

    def test_as_many_queries_for_many_marks(
        self, series: Series, before: Guide, now: Guide, fill_in_client: Client
    ) -> None:
        counts = []
        for _ in range(2):
            for _ in range(4):
                make_mark(before, "Y", part=make_part(series))
            with CaptureQueriesContext(connection) as asked:
                fill_in_client.get(url("last-issue", now), headers=PANEL)
            counts.append(len(asked))
        assert counts[0] == counts[1]


class TestPageNotes:
    def write(self, client: Client, guide: Guide, **changes: str) -> Any:
        said = {"text": "All skin is night", "first_page": guide.page, "last_page": ""} | changes
        return client.post(url("page-note", guide), said, headers=PANEL)

    def test_it_stands_on_every_page_of_its_run(self, fill_in_client: Client, series: Series) -> None:
        issue = make_issue(series)
        pages = {page: make_guide(issue, page=page) for page in ("2", "3", "4a", "5", "6")}
        assert self.write(fill_in_client, pages["3"], last_page="p. 05").status_code == 200
        shown = {
            page
            for page, guide in pages.items()
            if "All skin is night" in fill_in_client.get(guide.get_absolute_url()).content.decode()
        }
        assert shown == {"3", "4a", "5"}
        assert (
            "All skin is night"
            not in fill_in_client.get(make_guide(make_issue(series), page="3").get_absolute_url()).content.decode()
        ), "nor in another issue"
        note = PageNote.objects.get()
        assert note.run == "pages 3–5"
        assert {page for page, guide in pages.items() if note.holds_on(guide)} == shown

    def test_pages_without_an_order_are_not_one_page(self, series: Series, fill_in: Any) -> None:
        issue = make_issue(series)
        map_page, poster = make_guide(issue, page="map"), make_guide(issue, page="poster")
        note = write_page_note(issue=issue, first_page="map", last_page="", text="x", by=fill_in)
        assert [list(PageNote.objects.of_page(guide)) for guide in (map_page, poster)] == [[note], []]
        assert (note.holds_on(map_page), note.holds_on(poster)) == (True, False)

    @pytest.mark.parametrize(
        ("changes", "said"),
        [
            ({"text": " "}, "required"),
            ({"text": "x" * 2001}, "at most 2000"),
            ({"first_page": ""}, "required"),
            ({"first_page": "5", "last_page": "3"}, "does not come after"),
            ({"first_page": "map", "last_page": "poster"}, "does not come after"),
        ],
    )
    def test_refusals_keep_what_was_typed(
        self, fill_in_client: Client, guide: Guide, changes: dict[str, str], said: str
    ) -> None:
        answer = self.write(fill_in_client, guide, **changes)
        assert answer.status_code == 422
        assert said in answer.content.decode()
        assert PageNote.objects.count() == 0

    def test_not_on_an_older_revision(self, fill_in_client: Client, guide: Guide) -> None:
        Guide.objects.filter(pk=guide.pk).update(is_current=False)
        assert self.write(fill_in_client, guide).status_code == 422

    def test_taken_away_once(self, fill_in_client: Client, guide: Guide, fill_in: Any) -> None:
        note = write_page_note(issue=guide.issue, first_page=guide.page, last_page="", text="x", by=fill_in)
        away = reverse("remove-page-note", args=[guide.series.slug, guide.pk, note.pk])
        assert fill_in_client.post(away, headers=PANEL).status_code == 200
        answer = fill_in_client.post(away, headers=PANEL)
        assert answer.status_code == 422
        assert "taken this note away already" in answer.content.decode()
        remove_page_note_again = PageNote.objects.get(pk=note.pk)
        with pytest.raises(Refused):
            remove_page_note(note=remove_page_note_again, by=fill_in)
        with pytest.raises(Refused):
            bring_page_note_back(note=bring_page_note_back(note=note, by=fill_in), by=fill_in)

    def test_a_note_of_another_issue_is_not_reached(self, fill_in_client: Client, guide: Guide, fill_in: Any) -> None:
        other = make_issue(guide.series)
        note = write_page_note(issue=other, first_page="1", last_page="", text="x", by=fill_in)
        away = reverse("remove-page-note", args=[guide.series.slug, guide.pk, note.pk])
        assert fill_in_client.post(away).status_code == 404

    def test_those_who_only_look_see_it_and_cannot_change_it(self, guide: Guide, fill_in: Any) -> None:
        write_page_note(issue=guide.issue, first_page=guide.page, last_page="", text="Night here", by=fill_in)
        text = member_client(guide.series, "guest").get(guide.get_absolute_url()).content.decode()
        assert "Night here" in text
        assert "Remove this note" not in text


class TestDrawnScenes:
    def test_the_drawn_edges_are_the_typed_ones(self, fill_in_client: Client, guide: Guide, lead: Any) -> None:
        night = set_scene(
            scene=Scene(series=guide.series, name="Night"), rule=Shift((Step(Op.ADD, "c", 25),)), by=lead
        )
        edges = {"left": "10.5", "right": "60", "top": "20", "bottom": "80.25"}
        form = fill_in_client.get(url("draw-scene", guide), edges, headers=PANEL).context["area_form"]
        assert form.initial == edges
        answer = fill_in_client.post(url("draw-scene", guide), edges | {"scene": night.pk}, headers=PANEL)
        assert answer.status_code == 200
        area = SceneArea.objects.get()
        assert (area.left, area.right, area.top, area.bottom) == pytest.approx((0.105, 0.6, 0.2, 0.8025))
        assert 'class="scene-area"' in answer.content.decode()

    @pytest.mark.parametrize("changes", [{"scene": "0"}, {"left": "101"}, {"left": "nan"}, {"left": "70"}])
    def test_refusals(self, fill_in_client: Client, guide: Guide, lead: Any, changes: dict[str, str]) -> None:
        night = set_scene(
            scene=Scene(series=guide.series, name="Night"), rule=Shift((Step(Op.ADD, "c", 25),)), by=lead
        )
        said = {"left": "10", "right": "60", "top": "20", "bottom": "80", "scene": night.pk} | changes
        assert fill_in_client.post(url("draw-scene", guide), said, headers=PANEL).status_code == 422
        assert SceneArea.objects.count() == 0
