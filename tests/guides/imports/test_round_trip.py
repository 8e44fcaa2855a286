"""The tables we write come back in as they went out: into the same series nothing changes, into another one of the same
issues the same stands."""

from __future__ import annotations

import csv
import datetime as dt
import io
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.contrib.staticfiles import finders
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from bible.colour.chart_table import read_table
from bible.colour.shifts import Op, Shift, Step
from bible.exports.tables import INK_COLUMNS
from bible.locks.services import lock_tint
from bible.models import Issue, Lock, Part, Scene, Series, Subject
from bible.models.stretches import Stretch
from bible.scenes.services import HeldTo, set_scene
from guides.assignments.services import give_pages
from guides.core.waivers import remove_waiver, waive
from guides.models import BroughtTable, Waiver
from tests.factories import (
    make_costume,
    make_edition,
    make_guide,
    make_issues,
    make_lock,
    make_mark,
    make_member,
    make_part,
    make_series,
    make_subject,
)
from tests.forms import form_of, link_of, text_of
from tests.guides.imports.test_out_and_in import taken_along
from tests.guides.imports.test_taking_back import look, take
from tests.pages import client_of

pytestmark = pytest.mark.django_db

BY_WHOM = {"decided_by", "decided_at"}
"""Whoever brings a table in decides: nobody can say in a table that somebody else has."""


@pytest.fixture
def told(series: Series, lead: User) -> Series:
    """A bible with everything its table can say."""
    issues = make_issues(series, 8)
    subject = make_subject(series, name="Ada", note="Left-handed.")
    worn = [Stretch(0, issues[2].position), Stretch(issues[4].position)]
    coat = make_part(costume=make_costume(subject, name="work coat", worn=worn), name="coat")
    make_lock(coat, "YR3B2", by=lead, to_position=issues[3].position, reason="from the model sheet")
    make_lock(coat, "C25 M50 Y100", by=lead, from_position=issues[3].position, to_position=issues[5].position)
    make_lock(coat, "R", by=lead, role="shade", from_position=issues[6].position, reason="=night")
    album = make_edition(series, issues[:4], name="Album")
    make_lock(coat, "YR", by=lead, edition=album, to_position=issues[2].position, reason="coated paper takes more")
    make_part(costume=coat.costume, name="lining")
    make_part(costume=make_costume(make_subject(series, name="Boat", kind="prop"), name="as drawn"), name="hull")
    make_subject(series, name="Nobody yet")
    return series


def rows(text: str, *but: str) -> list[dict[str, str]]:
    return [
        {name: cell for name, cell in row.items() if name not in but} for row in csv.DictReader(io.StringIO(text))
    ]


def looked_at(client: Client, series: Series, kind: str, text: str) -> Any:
    page = client.get(reverse({"marks": "bring-marks-table"}.get(kind, f"bring-{kind}"), args=[series.slug]))
    return (
        form_of(page, has="file").attach(file=SimpleUploadedFile("t.csv", text.encode())).press(client, follow=True)
    )


def test_the_bible_tells_all_and_comes_back_equal(told: Series, lead: User, lead_client: Client) -> None:
    text = taken_along(lead_client, told, "bible")
    coat = rows(text)[0]
    assert [coat[name] for name in ("from_issue", "to_issue", "role")] == ["", "3", "base"]
    assert coat["reason"] == "from the model sheet"
    assert coat["worn"].lstrip("'") == "- 2; 5 -"
    assert coat["decided_by"] == str(lead)
    assert dt.datetime.fromisoformat(coat["decided_at"]).tzinfo
    assert [(row["code"], row["edition"]) for row in rows(text)[:2]] == [("YR3B2", ""), ("YR", "Album")]
    before = list(Lock.every_printing.order_by("pk").values())
    assert "0 of 7 rows would be taken, 7 are so already" in text_of(looked_at(lead_client, told, "bible", text))
    assert list(Lock.every_printing.order_by("pk").values()) == before
    other = make_series(slug="other")
    issues = make_issues(other, 8)
    client = client_of(make_member(other, "lead"))
    assert "There is no edition “Album”" in text_of(looked_at(client, other, "bible", text))
    make_edition(other, issues[:4], name="album")
    take(client, other, "bible", text)
    assert rows(taken_along(client, other, "bible"), *BY_WHOM) == rows(text.replace("Album", "album"), *BY_WHOM)


def test_names_that_might_be_several_ask_nothing_in_our_own_table(
    series: Series, lead: User, lead_client: Client
) -> None:
    for name in ("Salt & Vinegar", "Ada (the elder)", "Oke, Ruth"):
        part = make_part(
            costume=make_costume(make_subject(series, name=name), name="as drawn"), name="hat and gloves"
        )
        make_lock(part, "Y", by=lead, reason="old")
    text = taken_along(lead_client, series, "bible")
    other = make_series(slug="other")
    client = client_of(make_member(other, "lead"))
    assert "has no answer" not in text_of(looked_at(client, other, "bible", text))
    take(client, other, "bible", text)
    assert rows(taken_along(client, other, "bible"), *BY_WHOM) == rows(text, *BY_WHOM)


def test_the_bible_as_of_an_issue_says_what_held_there(told: Series, lead_client: Client) -> None:
    address = reverse("bible", args=[told.slug])
    file: Any = lead_client.get(address, {"issue": "4", "as": "csv"})
    found = rows(b"".join(file.streaming_content).decode("utf-8-sig"))
    assert [(row["part"], row["code"], row["from_issue"], row["to_issue"]) for row in found if row["code"]] == [
        ("coat", "YR3B2", "4", "5")
    ]


def test_a_gradient_comes_back_whole(series: Series, lead: User, lead_client: Client) -> None:
    make_issues(series, 2)
    take(lead_client, series, "bible", "subject,part,code\nSky,air,B to W downwards\n")
    text = taken_along(lead_client, series, "bible")
    assert rows(text)[0]["code"] == "B to W downwards"
    begins, ends = ([rows(text)[0][f"{end}{ink}"] for ink in INK_COLUMNS] for end in ("", "to_"))
    assert (begins, ends) == (["100", "0", "0", "0"], ["0", "0", "0", "0"])
    assert "1 is so already" in text_of(looked_at(lead_client, series, "bible", text))
    other = make_series(slug="other")
    client = client_of(make_member(other, "lead"))
    take(client, other, "bible", text)
    assert Lock.objects.get(series=other).locked == Lock.objects.get(series=series).locked


def test_the_sample_beside_every_import_comes_in_whole(series: Series, lead: User, lead_client: Client) -> None:
    """One after the other, as a series is set up: all rows, every column, no question."""
    make_member(series, "fill-in", username="ruben", first_name="Ruben")
    kinds = ("issues", "bible", "marks", "scenes", "waivers", "assignments")
    assert {*kinds} == {*BroughtTable.Kind.values}
    for kind in kinds:
        page = lead_client.get(reverse({"marks": "bring-marks-table"}.get(kind, f"bring-{kind}"), args=[series.slug]))
        address = link_of(page, "A sample to begin from")
        found = finders.find(address.removeprefix("/static/"))
        assert found, address
        text = Path(found).read_text(encoding="utf-8")
        if kind == "marks":
            make_guide(series.issues.get(number="1"), page="1", by=lead)
        count = len(rows(text))
        seen = text_of(looked_at(lead_client, series, kind, text))
        assert f"{count} of {count} row" in seen, seen
        assert "would be taken" in seen
        for trouble in ("Not read", "has no answer", "have no answer", "cannot be"):
            assert trouble not in seen, (kind, seen)
        take(lead_client, series, kind, text)
    assert Waiver.objects.alive().count() == 1
    assert Lock.objects.filter(series=series).count() == 6


def test_issues_keep_their_order_and_are_updated_not_doubled(series: Series, lead_client: Client) -> None:
    make_issues(series, 3)
    series.issues.filter(number="2").update(title="Fog", published=dt.date(2026, 3, 1))
    text = taken_along(lead_client, series, "issues")
    assert "3 are so already" in text_of(looked_at(lead_client, series, "issues", text))
    other = make_series(slug="other")
    client = client_of(make_member(other, "lead"))
    take(client, other, "issues", text)
    assert rows(taken_along(client, other, "issues")) == rows(text)
    changed = text.replace("Fog", "Thick fog").replace("2026-03-01", "2 April 2026")
    seen = text_of(looked_at(client, other, "issues", changed))
    assert "its title “Fog” becomes “Thick fog”, its cover date 1 March 2026 becomes 2 April 2026" in seen
    table = take(client, other, "issues", changed)
    assert [(one.number, one.title) for one in other.issues.in_order()] == [("1", ""), ("2", "Thick fog"), ("3", "")]
    form_of(look(client, table), says="Take it all back").press(client)
    assert other.issues.get(number="2").title == "Fog"
    assert other.issues.get(number="2").published == dt.date(2026, 3, 1)


def taken_from(client: Client, address: str, **asked: str) -> str:
    """A page's list as CSV."""
    file: Any = client.get(address, asked | {"as": "csv"})
    return b"".join(file.streaming_content).decode("utf-8-sig")


def undone(client: Client, table: BroughtTable) -> None:
    said = form_of(look(client, table), says="Take it all back").press(client, follow=True)
    assert "is taken back" in text_of(said)


def test_scenes_come_back_with_their_rules_and_what_they_fall_on(
    series: Series, lead: User, lead_client: Client
) -> None:
    other = make_series(slug="other")
    for one in (series, other):
        make_part(costume=make_costume(make_subject(one, name="Ada"), name="coat"), name="collar")
        make_subject(one, name="Boat")
    part = Part.objects.of_series(series).get()
    held = [HeldTo(Subject.objects.get(series=series, name="Boat").pk, None, role) for role in ("base", "shade")]
    held += [HeldTo(None, part.pk, role) for role in ("base", "shade")]
    said: dict[str, Any] = {"by": lead, "reason": "model sheet"}
    night = Shift((Step(Op.AT_LEAST, "c", 25), Step(Op.DOWN, "y", 1)))
    set_scene(scene=Scene(series=series, name="Night", note="From dusk on."), rule=night, targets=held, **said)
    set_scene(scene=Scene(series=series, name="Fog"), rule=Shift(), **said)
    text = taken_along(lead_client, series, "scenes")
    assert "2 are so already" in text_of(looked_at(lead_client, series, "scenes", text))
    client = client_of(make_member(other, "lead"))
    table = take(client, other, "scenes", text)
    assert rows(taken_along(client, other, "scenes")) == rows(text)
    changed = text.replace("at least 25 % cyan", "50 % more cyan").replace("From dusk on.", "Till dawn.")
    seen = text_of(looked_at(client, other, "scenes", changed))
    assert "its rule “at least 25 % cyan, yellow 1 step down” becomes “50 % more cyan, yellow 1 step down”" in seen
    undone(client, take(client, other, "scenes", changed))
    assert rows(taken_along(client, other, "scenes")) == rows(text)
    undone(client, table)
    assert not other.scenes.exists()


def test_a_scene_that_cannot_be_is_left_out(series: Series, lead_client: Client) -> None:
    make_subject(series, name="Boat")
    text = (
        "scene,rule,falls on\nNight,a bit darker,\nFog,25 % more black,\nDusk,25 % more cyan,Nobody\n"
        "Day,nothing changes,Boat; base only\nDay,25 % more cyan,\n"
    )
    seen = text_of(looked_at(lead_client, series, "scenes", text))
    assert "1 of 5 rows would be taken, 4 cannot be" in seen
    for told in (
        "is no step of a rule",
        "has no black",
        "No subject and no part is called “Nobody”",
        "An earlier line",
    ):
        assert told in seen


@pytest.fixture
def flagged(series: Series, lead: User) -> Series:
    """Two flags: a plain code, and a fade where another was locked."""
    [issue] = make_issues(series, 1)
    guide = make_guide(issue, page="7", by=lead)
    coat = make_part(costume=make_costume(make_subject(series, name="Ada"), name="coat"), name="collar")
    sky = make_part(costume=make_costume(make_subject(series, name="Sky"), name="as drawn"), name="air")
    make_lock(coat, "YR3B2", by=lead)
    lock_tint(
        part=sky,
        role="base",
        tint=series.read_locked("B to W"),
        written="B to W",
        from_position=0,
        by=lead,
        reason=".",
    )
    make_mark(guide, "YR", part=coat)
    make_mark(guide, "B2", part=sky, x=0.1)
    return series


def test_waivers_come_back_where_the_same_flags_stand(flagged: Series, lead: User, lead_client: Client) -> None:
    address = reverse("flags", args=[flagged.slug])
    for mark, reason in zip(flagged.marks.open().order_by("pk"), ("=lamplight", "as in 12"), strict=True):
        waive(marks=[mark], reason=reason, by=lead)
    text = taken_from(lead_client, address, list="waivers", standing="waived")
    assert "2 are so already" in text_of(looked_at(lead_client, flagged, "waivers", text))
    for waiver in Waiver.objects.alive():
        remove_waiver(waiver=waiver, by=lead)
    table = take(lead_client, flagged, "waivers", text)
    whose = ("waived_by", "waived_at")
    again = taken_from(lead_client, address, list="waivers", standing="waived")
    assert rows(again, *whose) == rows(text, *whose)
    assert "B to W" in again
    undone(lead_client, table)
    assert flagged.marks.open().count() == 2


def test_a_waiver_for_something_else_is_left_out(flagged: Series, lead: User, lead_client: Client) -> None:
    text = (
        "issue,page,mark,code,expected code,reason,subject,costume,part\n1,7,1,Y,,why,,,\n1,7,1,YR,B,why,,,\n1,7,9,,,why,,,\n"
        "1,7,1,,,,,,\n1,7,1,,,why,Sky,,air\n9,7,1,,,why,,,\n"
    )
    seen = text_of(looked_at(lead_client, flagged, "waivers", text))
    assert "0 of 6 rows would be taken, 6 cannot be" in seen
    for told in ("says YR here, and Y in the table", "should be YR3B2 here, and B in", "There is no mark 9", "needs a reason",
                 "not what the row names", "There is no issue 9"):  # fmt: skip
        assert told in seen
    assert flagged.marks.open().count() == 2


def test_pages_given_come_back_and_change_hands_only_on_a_yes(
    series: Series, lead: User, lead_client: Client
) -> None:
    [issue] = make_issues(series, 1)
    ned, ruth = (make_member(series, "fill-in", first_name=name, last_name="Oke") for name in ("Ned", "Ruth"))
    give_pages(issue=issue, pages=["1", "2-3"], colourist=ned, by=lead, due=dt.date(2026, 12, 3), note="night")
    give_pages(issue=issue, pages=["4"], colourist=ruth, by=lead)
    text = taken_along(lead_client, series, "assignments")
    assert "3 are so already" in text_of(looked_at(lead_client, series, "assignments", text))
    series.assignments.all().delete()
    table = take(lead_client, series, "assignments", text)
    when = ("given_at",)
    assert rows(taken_along(lead_client, series, "assignments"), *when) == rows(text, *when)
    changed = text.replace("Ned Oke", ruth.username).replace("2026-12-03", "5 Dec 2026")
    seen = text_of(looked_at(lead_client, series, "assignments", changed))
    assert "Page 1 of issue 1 was with Ned Oke, in by 3 December 2026; it is given to Ruth Oke" in seen
    undone(lead_client, take(lead_client, series, "assignments", changed))
    assert rows(taken_along(lead_client, series, "assignments"), *when) == rows(text, *when)
    undone(lead_client, table)
    assert not series.assignments.exists()


def test_a_page_for_nobody_known_is_left_out(series: Series, lead: User, lead_client: Client) -> None:
    _, signed = make_issues(series, 2)
    make_member(series, "editor", first_name="Eda", last_name="Storr")
    make_member(series, "fill-in", first_name="Ned", last_name="Oke")
    Issue.objects.filter(pk=signed.pk).update(signed_off_at=timezone.now())
    text = "issue,page,given to\n1,1,Eda Storr\n1,2,Nobody\n1,,Ned Oke\n9,1,Ned Oke\n2,1,Ned Oke\n1,3,Ned Oke\n1,3,Ned Oke\n"
    seen = text_of(looked_at(lead_client, series, "assignments", text))
    assert "1 of 7 rows would be taken, 6 cannot be" in seen
    for told in (
        "called “Eda Storr”",
        "called “Nobody”",
        "whose it is",
        "There is no issue 9",
        "is signed off",
        "Line 7 speaks",
    ):
        assert told in seen


def test_a_charts_and_a_palettes_table_come_back_as_a_house_chart(
    series: Series, lead: User, lead_client: Client
) -> None:
    [issue] = make_issues(series, 1)
    guide = make_guide(issue, by=lead)
    used = [make_mark(guide, code, x=at / 10).tint for at, code in enumerate(("YR3B2", "B2", "W"))]
    chart = read_table(taken_from(lead_client, reverse("chart", args=[series.slug])).encode())
    assert not chart.errors
    assert set(chart.chart("house", "t").tints) == set(series.chart.tints)
    palette = read_table(taken_from(lead_client, reverse("palette", args=[series.slug])).encode())
    assert not palette.errors
    assert set(palette.chart("house", "t").tints) == set(used)


def test_a_whole_hand_offs_marks_stand_in_another_series_as_they_stood(
    series: Series, lead: User, lead_client: Client
) -> None:
    other = make_series(slug="other")
    client = client_of(make_member(other, "lead"))
    subject = make_subject(series, name="Ada, the elder")
    coat = make_part(costume=make_costume(subject, name="=work"), name="coat: left")
    make_lock(coat, "YR3B2", by=lead)
    first, second = (make_issues(one, 2)[0] for one in (series, other))
    take(client, other, "bible", taken_along(lead_client, series, "bible"))
    for issue in (first, second):
        for page in ("cover", "3"):
            make_guide(issue, page=page, by=lead)
    cover, third = first.guides.order_by("pk")
    make_mark(cover, "YB", part=coat, x=0.123456789012345, y=1 / 3)
    make_mark(cover, "+Y 8 ?", x=0.5, y=2 / 7)
    make_mark(third, "YR", to_written="Y3R3", to=(0.75, 0.2), x=0.7, y=0.1)
    make_mark(third, "Y2R2", part=coat, role="shade")
    text = marks_of(lead_client, first)
    take(client, other, "marks", text)
    assert marks_of(client, second) == text
    assert "4 are so already" in text_of(looked_at(client, other, "marks", text))


def marks_of(client: Client, issue: Issue) -> str:
    file: Any = client.get(reverse("hand-off-file", args=[issue.series.slug, issue.pk, "csv"]))
    return (b"".join(file.streaming_content) if file.streaming else file.content).decode("utf-8-sig")


def test_signs_that_turn_the_writing_stay_out_of_cells(series: Series, lead_client: Client) -> None:
    take(lead_client, series, "bible", "subject,part,code\nA\u202eda,co\u2066at,B to W down\u202cwards\n")
    assert Part.objects.of_series(series).with_names().get().full_name == "Ada, as drawn: coat"
    assert "B to W downwards" in taken_along(lead_client, series, "bible")


def test_the_marks_of_a_hand_off_come_back_without_doubling(series: Series, lead: User, lead_client: Client) -> None:
    one, two = make_issues(series, 2)
    part = make_part(series, name="coat")
    for issue in (one, two):
        guide = make_guide(issue, page="7", by=lead)
        make_mark(guide, "YR3B2", part=part, x=1 / 3, y=0.25)
        make_mark(guide, "scribble", x=0.5, y=2 / 7)
    seen = text_of(looked_at(lead_client, series, "marks", marks_of(lead_client, one)))
    assert "0 of 2 rows would be taken, 2 are so already" in seen
