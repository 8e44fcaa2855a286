"""An edition from an empty list to its hand-off, by what the pages show."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bible.chart.queries import uses_by_tint
from bible.colour.tints import Tint
from bible.models import Activity, Edition, Lock
from bible.people.services import make_read_token
from bible.series.presses import condition
from guides.core.flags import differences_of
from guides.editions.queries import apart_in_print, printing_differences
from guides.models import Mark
from guides.signoff.services import put_in_check, sign_off
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
from tests.pages import client_of, member_client, methods_are_refused

pytestmark = pytest.mark.django_db


class Stage:
    """Three issues with the coat marked Y on each, locked to Y."""

    def __init__(self) -> None:
        self.series = make_series()
        self.lead = make_member(self.series)
        self.client = client_of(self.lead)
        self.issues = make_issues(self.series, 3)
        self.part = make_part(self.series, name="coat")
        make_lock(self.part, "Y", by=self.lead)
        self.marks = [
            make_mark(make_guide(issue, by=self.lead), "Y", part=self.part, by=self.lead) for issue in self.issues
        ]

    def album(self) -> Edition:
        return make_edition(self.series, self.issues[:2], name="Album", press="web-coated-tr003")

    def address(self, name: str, *args: Any, **query: str) -> str:
        return reverse(name, args=[self.series.slug, *args], query=query or None)


@pytest.fixture
def stage() -> Stage:
    return Stage()


def test_from_no_edition_to_one_with_a_code_of_its_own(stage: Stage) -> None:
    """Bible, its editions, a new one, the bible as it needs it, the part, the code, what it would do, yes, undo."""
    client = stage.client
    bible = client.get(stage.address("bible"))
    empty = client.get(link_of(bible, "Editions"))
    assert "No edition yet" in text_of(empty)
    form = form_of(client.get(link_of(empty, "New edition")), has="collects")
    answer = form.fill(name="Album", collects="1-2", note="Coated.").press(client)
    edition = Edition.objects.get()
    page = client.get(answer.url)
    assert answer.url == edition.get_absolute_url()
    assert "No code differs" in text_of(page)
    needed = client.get(link_of(page, "Bible as this edition needs it"))
    assert "In the edition" in text_of(needed)
    subject = client.get(stage.part.costume.subject.get_absolute_url() + "?edition=Album")
    lock = client.get(link_of(subject, "Lock a code"))
    assert "in the edition Album" in text_of(lock)
    shown = form_of(lock, has="code").fill(code="YR2", reason="coated paper").press(client)
    assert shown.status_code == 422
    assert "2 marks would need another code than now" in text_of(shown)
    assert not Lock.every_printing.filter(edition=edition).exists()
    saved = form_of(shown, has="code").press(client)
    assert saved.status_code == 302, text_of(saved)
    assert saved.url.endswith("?edition=Album")
    after = text_of(client.get(saved.url))
    assert "is locked to YR2 in the edition Album" in after
    assert [lock.written for lock in Lock.objects.filter(part=stage.part)] == ["Y"]
    page = client.get(edition.get_absolute_url())
    assert "YR2" in text_of(page)
    undo = client.get(link_of(page, "Undo this decision"))
    assert "2 marks would need another code" in text_of(undo)
    assert form_of(undo, has="reason").press(client).status_code == 302
    assert "No code differs" in text_of(client.get(edition.get_absolute_url()))
    told = [row.kind for row in Activity.objects.filter(series=stage.series).order_by("pk")][-3:]
    assert told == ["added", "locked", "undone"]
    assert "in the edition Album" in text_of(client.get(stage.address("activity")))


def test_it_is_corrected_and_ended_after_what_that_does_was_shown(stage: Stage) -> None:
    album = stage.album()
    lock = make_lock(stage.part, "YR2", by=stage.lead, edition=album)
    page = stage.client.get(album.get_absolute_url())
    form = form_of(stage.client.get(link_of(page, "Correct")), has="code")
    shown = form.fill(code="YR", reason="slip").press(stage.client)
    assert "2 marks would need another code" in text_of(shown)
    lock.refresh_from_db(from_queryset=Lock.every_printing.all())
    assert lock.withdrawn_at is None
    assert form_of(shown, has="code").press(stage.client).status_code == 302
    page = stage.client.get(album.get_absolute_url())
    form = form_of(stage.client.get(link_of(page, "End")), has="at_issue")
    shown = form.fill(at_issue="2", reason="enough").press(stage.client)
    assert "1 mark would need another code" in text_of(shown)
    assert form_of(shown, has="at_issue").press(stage.client).status_code == 302
    (one,) = printing_differences(album, None)
    assert (one.now and one.now.written, one.stretch.to_position) == ("YR", stage.issues[1].position)


def test_palettes_and_look_alikes_answer_for_an_edition(stage: Stage) -> None:
    """By the chooser on their pages; in the first printing nothing is other than it was."""
    make_lock(stage.part, "YR2", by=stage.lead, edition=(album := stage.album()))
    yr2, client = stage.series.read("YR2"), stage.client
    palette = client.get(stage.address("palette"))
    assert (palette.context["matrix"].tints, palette.context["matrix"].total) == ((Tint(y=100),), 3)
    printed = form_of(palette, has="edition", says="Show").fill(edition="Album").press(client)
    assert (printed.context["matrix"].tints, printed.context["matrix"].total) == ((yr2,), 2)
    assert "all issues in the edition Album" in text_of(printed)
    uses = client.get(stage.address("palette-tint", yr2, edition="Album"))
    assert [mark.pk for mark in uses.context["marks"]] == [mark.pk for mark in stage.marks[:2]]
    assert client.get(stage.address("palette-near", edition="Album")).status_code == 200
    nearest = client.get(stage.address("palette-compare", before="1", after="2", edition="Album"))
    assert [change.tint for change in nearest.context["compared"].kept] == [yr2]
    assert "TR 003" in client.get(stage.address("palette-file", "gpl", edition="Album")).content.decode()
    seen = form_of(client.get(stage.address("look-alikes")), has="edition", says="Show").fill(edition="Album")
    alike = seen.press(client)
    assert alike.context["press"].name == album.press
    assert {"YR2", "Y"} & {
        stage.series.write(side.tint)
        for row in alike.context["ranking"].rows
        for side in (row.first, row.second)
        if side.parts
    } <= {"YR2"}
    who = {
        cell.code: cell.who
        for sheet in client.get(stage.address("chart", edition="Album")).context["layout"].sheets
        for _, line in sheet.rows
        for cell in line
        if cell and cell.who
    }
    assert list(who) == ["YR2"]


def test_a_fade_counts_by_both_its_codes(stage: Stage) -> None:
    album = stage.album()
    make_lock(stage.part, "Y to W downwards", by=stage.lead, edition=album)
    (one,) = printing_differences(album, None)
    assert [lock and lock.tint for lock in (one.was, one.now)] == [Tint(y=100)] * 2
    (apart,) = apart_in_print([one], condition(stage.series, album.press))
    assert (apart.delta_e or 0) > 20, "solid yellow against bare paper, where it has faded"
    assert "Y to W downwards" in text_of(stage.client.get(album.get_absolute_url()))
    assert set(uses_by_tint(stage.series, album)) == {Tint(y=100), Tint()}
    matrix = stage.client.get(stage.address("palette", edition="Album")).context["matrix"]
    assert dict(zip(matrix.tints, matrix.per_tint.tolist(), strict=True)) == {Tint(y=100): 2, Tint(): 2}


def test_other_programs_ask_for_an_edition(stage: Stage) -> None:
    make_lock(stage.part, "YR2", by=stage.lead, edition=stage.album())
    page = stage.marks[0].guide
    make_mark(page, "R", part=stage.part, by=stage.lead)
    make_mark(page, "YR2", part=stage.part, by=stage.lead)
    _, token = make_read_token(membership=stage.series.memberships.get(user=stage.lead), name="a program")

    def told(path: str, **query: str) -> list[tuple[str, str, str | None]]:
        answer = Client().get(
            f"/api/v1/series/{stage.series.slug}/{path}", query, headers={"Authorization": f"Bearer {token}"}
        )
        return [
            (one["written"], one["expected"]["code"], one["printed"] and one["printed"]["code"])
            for one in answer.json()["items"]
        ]

    assert told("marks", edition="album", issue="1") == [
        ("Y", "Y", "YR2"), ("R", "YR2", None), ("YR2", "YR2", None),
    ]  # fmt: skip
    assert len(told("marks", edition="album")) == 4
    assert told("flags") == [("R", "Y", None), ("YR2", "Y", None)]
    assert told("flags", edition="album") == [("R", "YR2", None)]


def test_no_flag_and_no_sign_off_moves(stage: Stage) -> None:
    album = stage.album()
    put_in_check(issue=stage.issues[0], by=stage.lead)
    sign_off(issue=stage.issues[0], by=stage.lead, words="so")
    make_lock(stage.part, "YR2", by=stage.lead, edition=album)
    stage.issues[0].refresh_from_db()
    assert stage.issues[0].signed_off_at
    assert not Mark.objects.flagged().exists()


def test_what_differs_beside_another_edition_and_to_take_along(stage: Stage) -> None:
    album = stage.album()
    reprint = make_edition(stage.series, stage.issues, name="Reprint")
    second = stage.issues[1].position
    make_lock(stage.part, "YR2", by=stage.lead, edition=album, from_position=second)
    make_lock(stage.part, "YR", by=stage.lead, edition=reprint)
    page = stage.client.get(album.get_absolute_url())
    shown = form_of(page, has="beside").fill(beside="Reprint").press(stage.client)
    assert "always" not in text_of(shown)
    told = json.loads(stage.client.get(album.get_absolute_url() + "?as=json&beside=Reprint").getvalue())
    assert [(row["beside_code"], row["edition_code"], row["issues"], row["marks"]) for row in told["rows"]] == [
        ("YR", "Y", "up to issue 1", 0),
        ("YR", "YR2", "from issue 2 on", 1),
    ]
    assert (told["edition"], told["beside"]) == ("Album", "Reprint")
    first = json.loads(stage.client.get(album.get_absolute_url() + "?as=json").getvalue())
    assert [row["beside_code"] for row in first["rows"]] == ["Y"]


@pytest.mark.parametrize("role", ["fill-in", "editor", "guest"])
def test_who_may_not_lock_reads_only(stage: Stage, role: str) -> None:
    album, client = stage.album(), member_client(stage.series, role)
    page = text_of(client.get(album.get_absolute_url()))
    assert "Album" in page
    assert "Edit" not in page
    assert client.get(stage.address("editions")).status_code == 200
    for name, args in (("new-edition", []), ("edit-edition", [album.pk])):
        assert client.get(stage.address(name, *args)).status_code == 403
    assert client.post(stage.address("archive-edition", album.pk), {"archived": "yes"}).status_code == 403
    assert client.get(stage.address("lock", stage.part.pk, edition="Album")).status_code == 403


def test_strangers_and_wrong_ways_are_refused(stage: Stage) -> None:
    album = stage.album()
    stranger, nobody = client_of(make_member(make_series())), Client()
    for name, args in (("editions", []), ("edition", [album.pk]), ("edit-edition", [album.pk])):
        assert stranger.get(stage.address(name, *args)).status_code == 404
        assert nobody.get(stage.address(name, *args)).status_code == 302
    other = make_edition(make_series(), name="Other")
    assert stage.client.get(stage.address("edition", other.pk)).status_code == 404
    assert stage.client.get(stage.address("edition", album.pk, beside="Other")).status_code == 404
    for name in ("bible", "lookup", "flags"):
        assert stage.client.get(stage.address(name, edition="Other")).status_code == 404, name
    methods_are_refused(stage.client, stage.address("edition", album.pk), "post", "put")
    methods_are_refused(stage.client, stage.address("archive-edition", album.pk), "get")


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"name": "album"}, "There is an edition “album” already"),
        ({"collects": "9"}, "There is no issue “9”"),
        ({"collects": " ; "}, "Say which issues"),
        ({"name": ""}, "This field is required"),
    ],
)
def test_a_form_that_cannot_be_saved_says_why(stage: Stage, said: dict[str, str], told: str) -> None:
    stage.album()
    form = form_of(stage.client.get(stage.address("new-edition")), has="collects")
    answer = form.fill(**{"name": "Second", "collects": "1"} | said).press(stage.client)
    assert (answer.status_code, Edition.objects.count()) == (422, 1)
    assert told in text_of(answer)


def test_an_edit_from_an_old_page_is_shown_what_there_is(stage: Stage) -> None:
    album = stage.album()
    form = form_of(stage.client.get(stage.address("edit-edition", album.pk)), has="collects")
    form.fill(note="first").press(stage.client)
    late = form.fill(note="second").press(stage.client)
    assert (late.status_code, Edition.objects.get().note) == (422, "first")
    assert form_of(late, has="collects").press(stage.client).status_code == 302
    assert Edition.objects.get().note == "second"


def test_one_that_is_put_away_is_offered_no_more_but_answers(stage: Stage) -> None:
    album = stage.album()
    page = stage.client.get(stage.address("editions"))
    form_of(page, has="archived").press(stage.client)
    assert "first printing" not in text_of(stage.client.get(stage.address("bible")))
    asked = stage.client.get(stage.address("bible", edition=album.name))
    assert form_of(asked, has="edition").value("edition") == "Album"
    form_of(stage.client.get(stage.address("editions")), has="archived").press(stage.client)
    assert Edition.objects.get().archived_at is None


def test_look_up_bible_and_sheet_are_asked_for_it_and_keep_it(stage: Stage) -> None:
    album = stage.album()
    make_lock(stage.part, "YR2", by=stage.lead, edition=album)
    page = stage.client.get(stage.address("lookup", q="coat"))
    assert "YR2" not in text_of(page)
    shown = form_of(page, has="edition").fill(edition="Album").press(stage.client)
    assert "as of issue 2 in the edition Album, its last" in text_of(shown)
    assert "YR2" in text_of(shown)
    by_code = stage.client.get(stage.address("lookup", q="YR2", edition="Album"))
    assert "coat" in text_of(by_code)
    assert "No part fits" in text_of(stage.client.get(stage.address("lookup", q="YR2")))
    name = stage.part.costume.subject.name
    subject = stage.client.get(link_of(shown, name))
    assert "YR2" in text_of(subject).split("How it came about")[0]
    sheet = stage.client.get(link_of(subject, "Colour sheet"))
    assert "YR2" in text_of(sheet)
    assert "Coated" in text_of(sheet) or "coated" in text_of(sheet)
    bible = stage.client.get(link_of(sheet, "Bible"))
    assert "YR2" in text_of(bible)
    data = json.loads(stage.client.get(stage.address("pocket-data", edition="Album")).content)
    (part,) = data["parts"]
    assert (part["codes"][0]["code"], data["edition"]) == ("YR2", "Album")
    table = json.loads(stage.client.get(stage.address("bible", edition="Album") + "&as=json").getvalue())
    assert [(row["code"], table["edition"]) for row in table["rows"]] == [("YR2", "Album")]


def test_the_distance_is_that_of_its_press(stage: Stage) -> None:
    from bible.series.presses import condition

    album = stage.album()
    make_lock(stage.part, "YR2", by=stage.lead, edition=album)
    told = json.loads(stage.client.get(album.get_absolute_url() + "?as=json").getvalue())
    pair = [(stage.series.read("Y"), stage.series.read("YR2"))]
    (apart,) = differences_of(pair, condition(stage.series, "web-coated-tr003"))
    assert told["rows"][0]["ciede2000"] == round(apart, 2)
    assert told["press_condition"] == condition(stage.series, "web-coated-tr003").title
