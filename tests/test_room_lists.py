"""The lists of the rooms beside the bible and the guides: scenes, what is archived, tokens, what goes out, paint, time."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from lxml import html

from bible.colour.shifts import Op, Shift, Step
from bible.models import Issue, Membership, ReadToken, Scene, SceneRule, Series, Subject
from bible.people.services import make_read_token
from guides.models import IssueStep, PaintReading
from guides.signoff.services import put_in_check
from tests.factories import make_guide, make_issue, make_lock, make_mark, make_member, make_part, make_series
from tests.pages import client_of, member_client, methods_are_refused
from tests.taken import (
    FORMULA,
    Story,
    as_csv,
    as_json,
    both_files_say_the_same,
    none_asks_more,
    shown,
    take,
    the_page_leads_to_its_files,
)

pytestmark = pytest.mark.django_db

NIGHT = Shift((Step(Op.ADD, "c", 25),)).to_data()


class Rooms(Story):
    """A story with something in the lists of every room beside the bible and the guides."""

    def __init__(self, series: Series, by: Any) -> None:
        self.scene = Scene.objects.create(series=series, name="night", rule_data=NIGHT)
        self.membership = Membership.objects.get(series=series, user=by)
        self.in_check: list[Issue] = []
        super().__init__(series, by)

    def grow(self, times: int) -> None:
        super().grow(times)
        for _ in range(times):
            now, number = timezone.now(), Scene.objects.count()
            make_part(self.series, costume=self.part.costume, archived_at=now)
            make_issue(self.series, archived_at=now)
            Scene.objects.create(series=self.series, name=f"old scene {number}", archived_at=now)
            SceneRule.objects.create(scene=self.scene, rule_data=NIGHT, reason=FORMULA, decided_by=self.by)
            make_read_token(membership=self.membership, name=f"program {number}")
            issue = make_issue(self.series, title="going")
            make_mark(make_guide(issue, by=self.by), "B", part=self.part)
            put_in_check(issue=issue, by=self.by, words="look")
            self.in_check.append(issue)
            self.read_paint("YR3")

    def read_paint(self, *likely: str) -> PaintReading:
        """A mark on the story's page whose paint says something else than its code."""
        mark = make_mark(self.guide, "YR", part=self.part)
        said = [[self.series.read(code).packed, 0.8 / (n + 1)] for n, code in enumerate(likely)]
        return PaintReading.objects.create(
            series=self.series, mark=mark, version=mark.version, odd=True, wrong=0.9, suggestions=said
        )

    def address(self, name: str, query: str = "") -> str:
        things = {
            "scene": [self.scene.pk],
            "timeline": [self.part.costume.subject_id],
            "issue-paint": [self.issue.pk],
        }
        asked = query.format(subject=self.part.costume.subject_id, part=self.part.pk)
        return reverse(name, args=[self.series.slug, *things.get(name, [])]) + (f"?{asked}" if asked else "")


LISTS: dict[tuple[str, str], int] = {
    ("archived", ""): 9,
    ("tokens", ""): 3,
    ("scene", ""): 64,
    ("scene", "subject={subject}"): 4,
    ("scene", "list=rules"): 3,
    ("scene", "subject={subject}&list=rules"): 3,
    ("going-out", ""): 3,
    ("going-out", "list=steps"): 3,
    ("going-out", "list=open"): 4,
    ("series-paint", ""): 3,
    ("issue-paint", ""): 3,
    ("timeline", ""): 19,
    ("timeline", "part={part}"): 7,
}
"""How many rows each list has once ``Rooms`` has grown by two."""

NEVER_GROW = {("scene", "")}


@pytest.fixture
def rooms(series: Series, lead: Any) -> Rooms:
    return Rooms(series, lead)


def rows_of(client: Client, address: str) -> list[dict[str, Any]]:
    return list(as_json(client, address)["rows"])


@pytest.mark.parametrize(("name", "query"), LISTS)
def test_both_files_say_the_same_and_everything(rooms: Rooms, lead_client: Client, name: str, query: str) -> None:
    rooms.grow(2)
    both_files_say_the_same(lead_client, rooms.address(name, query), LISTS[name, query])


@pytest.mark.parametrize(("name", "query"), LISTS)
def test_the_page_leads_to_its_files(rooms: Rooms, lead_client: Client, name: str, query: str) -> None:
    the_page_leads_to_its_files(lead_client, rooms.address(name, query))


def test_no_list_asks_more_as_it_grows(rooms: Rooms, lead_client: Client) -> None:
    addresses = {one: rooms.address(*one) for one in LISTS}
    grown = none_asks_more(lead_client, list(addresses.values()), lambda: rooms.grow(3))
    assert grown == {address for one, address in addresses.items() if one not in NEVER_GROW}


def test_archived_things_are_those_on_the_page(rooms: Rooms, lead_client: Client) -> None:
    rows = rows_of(lead_client, rooms.address("archived"))
    assert {row["what"] for row in rows} == {"part", "issue", "scene"}
    assert all(row["archived_at"].startswith(str(timezone.now().year)) for row in rows)
    names = [cells[0] for cells in shown(lead_client, rooms.address("archived"), "//table/tbody/tr")]
    assert [row["name"][:1].upper() + row["name"][1:] for row in rows] == names


def test_a_scene_shifts_in_the_file_as_on_the_page(rooms: Rooms, lead_client: Client) -> None:
    chart = rows_of(lead_client, rooms.address("scene"))
    ends = "./span[@class='shift-end']/span[1]"
    moved = [[row["code"], row["shifted_code"]] for row in chart if row["code"] != row["shifted_code"]]
    listed = "//ul[@class='shifts shifts-small']/li"
    assert moved == list(shown(lead_client, rooms.address("scene"), listed, ends))  # what stays is left out there
    by_code = {row["code"]: row for row in chart}
    assert (by_code["Y"]["cyan_percent"], by_code["Y"]["shifted_cyan_percent"]) == (0, 25)
    address = rooms.address("scene", "subject={subject}")
    told = as_json(lead_client, address)
    assert (told["scene"], told["subject"]) == ("night", rooms.part.costume.subject.name)
    assert shown(lead_client, address, "//ul[@class='shifts']/li", f"./p | ./div/{ends[2:]}") == [
        [f"{row['costume']}: {row['part']}", row["code"], row["shifted_code"]] for row in told["rows"]
    ]


def test_whom_a_scene_owes_its_rules_to(rooms: Rooms, lead_client: Client) -> None:
    [row] = rows_of(lead_client, rooms.address("scene", "list=rules"))
    assert (row["rule"], row["decided_by"], row["reason"]) == (str(rooms.scene.rule), "lead", FORMULA)
    head, [cells] = as_csv(take(lead_client, rooms.address("scene", "list=rules"), "csv"))
    assert cells[head.index("reason")] == f"'{FORMULA}"


def test_what_goes_out_is_what_the_page_shows(rooms: Rooms, lead_client: Client) -> None:
    make_mark(rooms.guide, "Y", part=make_part(rooms.series))
    [row] = rows_of(lead_client, rooms.address("going-out"))
    assert (row["issue"], row["title"], row["guides"]) == (rooms.in_check[0].number, "going", 1)
    assert (row["open"] > row["flags_differs"], row["flags_differs"], row["flags_no_lock"]) == (True, 1, 0)
    points = lead_client.get(rooms.address("going-out")).context["rows"][0]
    assert (row["open"], row["pages_missing"]) == (points.open, points.missing_pages or None)
    assert row["subjects_not_marked"] == "; ".join(known.subject.name for known in points.unmarked) != ""
    [step] = rows_of(lead_client, rooms.address("going-out", "list=steps"))
    assert (step["issue"], step["step"], step["by"], step["words"]) == (row["issue"], "in-check", "lead", "look")
    address = rooms.address("going-out")
    still_open = [cells[0] for cells in shown(lead_client, address, "//ul[@class='plain']/li", "./a")]
    assert [f"Issue {one['issue']}" for one in rows_of(lead_client, f"{address}?list=open")] == still_open
    assert row["issue"] not in {one["issue"] for one in rows_of(lead_client, f"{address}?list=open")}


def test_a_file_is_whole_where_the_page_shows_a_part(
    rooms: Rooms, lead_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    rooms.grow(2)
    monkeypatch.setattr("guides.signoff.views.STEPS_SHOWN", 2)
    monkeypatch.setattr("guides.paint.views.LONGEST_LIST", 2)
    for name, query, row in (
        ("going-out", "list=steps", "//ol[@class='steps']/li"),
        ("going-out", "list=open", "//ul[@class='plain']/li"),
        ("series-paint", "", "//table/tbody/tr"),
    ):
        assert len(shown(lead_client, rooms.address(name), row)) == 2
        assert len(rows_of(lead_client, rooms.address(name, query))) == LISTS[name, query]


def test_paint_that_disagrees_is_told_with_its_codes(rooms: Rooms, lead_client: Client, lead: Any) -> None:
    elsewhere = make_guide(make_issue(rooms.series), by=lead)
    make_mark(elsewhere, "Y")
    reading = rooms.read_paint("YR3", "Y")
    address = rooms.address("issue-paint")
    told = as_json(lead_client, address)
    first, second = sorted(told["rows"], key=lambda row: int(row["mark"]))
    assert (first["paint_code"], first["paint_chance"], first["or_paint_code"]) == ("YR3", 0.8, None)
    assert (second["paint_code"], second["or_paint_code"], second["or_paint_chance"]) == ("YR3", "Y", 0.4)
    assert (second["code"], second["chance_wrong"], second["part"]) == ("YR", 0.9, FORMULA)
    assert second["mark"] == reading.mark.number
    assert told["issue"] == rooms.issue.number
    assert elsewhere.page not in {page["page"] for page in told["pages_not_read"]}
    waiting = as_json(lead_client, rooms.address("series-paint"))["pages_not_read"]
    assert {"issue": elsewhere.issue.number, "page": elsewhere.page} in waiting
    assert [cells[3] for cells in shown(lead_client, address, "//table/tbody/tr", "./th|./td")] == ["90 %", "90 %"]


def test_the_timeline_says_issue_by_issue_what_the_marks_said(series: Series, lead: Any, lead_client: Client) -> None:
    part, issues = make_part(series), [make_issue(series) for _ in range(4)]
    make_lock(part, "YR", by=lead)
    make_lock(part, "Y", by=lead, from_position=issues[2].position)
    for code in ("YR", "YR", "B", "scrawl"):
        make_mark(make_guide(issues[0], by=lead), code, part=part)
    rows = rows_of(lead_client, reverse("timeline", args=[series.slug, part.costume.subject_id]))
    said = [
        (row["issue"], row["locked_code"], row["code"], row["expected_code"], row["standing"], row["marks"])
        for row in rows
    ]
    assert said[0] == ("1", "YR", "YR", "YR", "agrees", 2)
    assert sorted(said[1:3], key=str) == [
        ("1", "YR", "B", "YR", "differs", 1),
        ("1", "YR", None, "YR", "unreadable", 1),
    ]
    assert said[3:] == [(None, "Y", None, None, None, 0)], "a lock that no mark met"
    assert rows[3]["locked_issues"] == "from issue 3 on"


def test_a_part_of_the_timeline_alone(rooms: Rooms, lead_client: Client) -> None:
    everything = rows_of(lead_client, rooms.address("timeline"))
    alone = rows_of(lead_client, rooms.address("timeline", "part={part}"))
    assert {row["part"] for row in alone} == {FORMULA} < {row["part"] for row in everything}
    assert alone == [row for row in everything if row["part"] == FORMULA]


@pytest.mark.parametrize("asked", ["²", "9" * 30, "-1", "x"])
def test_a_filter_that_names_nothing_is_none(rooms: Rooms, lead_client: Client, asked: str) -> None:
    assert len(rows_of(lead_client, rooms.address("scene") + f"?subject={asked}")) == 64
    assert rows_of(lead_client, rooms.address("timeline") + f"?part={asked}") == rows_of(
        lead_client, rooms.address("timeline")
    )


def test_a_file_of_tokens_opens_nothing(rooms: Rooms, lead_client: Client, lead: Any) -> None:
    _made, secret = make_read_token(membership=rooms.membership, name="mine")
    other = Membership.objects.get(user=make_member(rooms.series, "fill-in"))
    make_read_token(membership=other, name="not mine")
    address = rooms.address("tokens")
    for kind in ("csv", "json"):
        file = take(lead_client, address, kind).getvalue().decode()
        assert "mine" in file
        assert secret not in file
        assert not [token for token in ReadToken.objects.all() if token.token_hash in file]
        assert "not mine" not in file
    row = rows_of(lead_client, address)[0]
    assert (row["name"], row["state"], row["last_used_on"]) == ("mine", "open", None)
    assert [cells[0] for cells in shown(lead_client, address, "//table/tbody/tr")] == [
        row["name"] for row in rows_of(lead_client, address)
    ]


def test_a_new_token_is_shown_on_the_page_whatever_is_asked(rooms: Rooms, lead_client: Client) -> None:
    made = lead_client.post(rooms.address("tokens", "as=csv"), {"name": "new"})
    assert made["Content-Type"].startswith("text/html")
    assert made.context["token"] in made.content.decode()
    assert "no-store" in take(lead_client, rooms.address("tokens"), "csv")["Cache-Control"]


CHART = "\n\nlabel;c;m;y\nW;0;0;0\nY;0;0;100\nB;100;0;0\nYR3;0;50;50\n=1+1;0;100;100\nQ;x;0;0\n"
"""YR3 holds 50 % yellow + 50 % red (see ``test_notation_views``); lines 8 and 9 cannot be read, each in its way."""


@pytest.mark.parametrize("as_file", [False, True])
def test_an_audit_is_taken_along_from_its_page(series: Series, fill_in_client: Client, as_file: bool) -> None:
    address = reverse("chart-audit", args=[series.slug])
    sent = {"file": SimpleUploadedFile("c.csv", CHART.encode("utf-16"))} if as_file else {"table": CHART}
    page = html.fromstring(fill_in_client.post(address, {**sent, "ink_limit": "150"}).content.decode())
    [form] = page.xpath("//form[.//button[@formaction='?as=csv']]")
    fields = dict(form.fields)
    # Browsers leave out the line break right behind <textarea>, lxml does not.
    fields["table"] = fields["table"].removeprefix("\r").removeprefix("\n")
    told = json.loads(fill_in_client.post(f"{address}?as=json", fields).getvalue())
    assert [(row["line"], row["finding"], row["label"]) for row in told["rows"]] == [
        (9, "row_unreadable", None),
        (7, "label_differs", "YR3"),
        (8, "label_unreadable", "=1+1"),
        (8, "over_ink_limit", "=1+1"),
    ]
    assert [told["rows"][1][f"{what}_code"] for what in ("swatch", "label")] == ["Y3R3", "YR3"]
    assert (told["swatches"], told["rows_left_out"]) == (5, 1)
    head, rows = as_csv(fill_in_client.post(f"{address}?as=csv", fields))
    assert head == told["columns"]
    assert [row[1] for row in rows] == ["", "YR3", "'=1+1", "'=1+1"]


def test_findings_are_whole_where_the_page_shows_a_part(
    series: Series, lead_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("bible.chart.views.FINDINGS_SHOWN", 1)
    address = reverse("chart-audit", args=[series.slug])
    assert len(shown(lead_client, address, "//tbody/tr")) == 0
    assert len(lead_client.post(address, {"table": CHART}).context["findings"]) == 1
    whole = lead_client.post(f"{address}?as=json", {"table": CHART})
    assert len(json.loads(whole.getvalue())["rows"]) == 3


def test_an_audit_of_nothing_brings_the_page_and_its_words(series: Series, lead_client: Client) -> None:
    address = reverse("chart-audit", args=[series.slug])
    for data, status in (({}, 422), ({"table": CHART, "ink_limit": "401"}, 422)):
        refused = lead_client.post(f"{address}?as=csv", data)
        assert (refused.status_code, refused["Content-Type"][:9]) == (status, "text/html")
    assert lead_client.get(f"{address}?as=csv")["Content-Type"].startswith("text/html")
    assert Client().post(f"{address}?as=csv", {"table": CHART}).status_code == 302
    elsewhere = reverse("chart-audit", args=[make_series().slug])
    assert lead_client.post(f"{elsewhere}?as=csv", {"table": CHART}).status_code == 404


@pytest.mark.parametrize("name", sorted({name for name, _ in LISTS}))
def test_strangers_and_other_methods_are_refused_as_on_the_page(rooms: Rooms, name: str) -> None:
    address = rooms.address(name, "as=csv")
    assert as_csv(member_client(rooms.series, "guest").get(address))
    assert Client().get(address).status_code == 302
    assert client_of(make_member(make_series())).get(address).status_code == 404
    methods = ["put", "delete", "patch"] + ["post"] * (name != "tokens")
    methods_are_refused(client_of(rooms.by), address, *methods)


def test_things_of_another_series_have_no_files_here(rooms: Rooms, lead_client: Client) -> None:
    other = make_series()
    scene = Scene.objects.create(series=other, name="fog")
    subject = Subject.objects.create(series=other, name="Somebody")
    for name, pk in (("scene", scene.pk), ("timeline", subject.pk), ("issue-paint", make_issue(other).pk)):
        assert lead_client.get(reverse(name, args=[rooms.series.slug, pk]), {"as": "csv"}).status_code == 404
    assert len(rows_of(lead_client, rooms.address("scene") + f"?subject={subject.pk}")) == 64


def test_where_nothing_is_there_is_a_head(series: Series, lead_client: Client) -> None:
    assert not IssueStep.objects.exists()
    for name in ("archived", "tokens", "going-out", "series-paint"):
        head, rows = as_csv(take(lead_client, reverse(name, args=[series.slug]), "csv"))
        assert head
        assert rows == []
