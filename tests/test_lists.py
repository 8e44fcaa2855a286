"""Every list can be taken along: its files hold what its page shows, and no list asks more of the database as it grows."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from collections.abc import Callable
from typing import Any
from urllib.parse import quote

import pandas as pd
import pytest
from django.db import connection
from django.test import Client, RequestFactory
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from lxml import html

from bible.models import Issue, LockNote, Proposal, Scene, Series
from bible.tables_out import BOM, PIECE, Table, answer, csv_pieces, json_pieces, wanted
from guides.exceptions import waive
from guides.models import Mark
from tests.factories import (
    make_guide,
    make_issue,
    make_lock,
    make_mark,
    make_member,
    make_part,
    make_proof,
    make_reading,
    make_series,
)
from tests.pages import member_client

pytestmark = pytest.mark.django_db

FORMULA = "=HYPERLINK(“x”)"
WRONG = ("B", "YB", "RB", "B2", "Y2B", "R2B", "YR2B")
"""Codes that differ from what is locked, another one each time."""


class Story:
    """A series with something in every list; ``grow`` puts more into each of them."""

    def __init__(self, series: Series, by: Any) -> None:
        self.series, self.by, self.wrong = series, by, iter(WRONG)
        self.issue = make_issue(series)
        self.part = make_part(series, name=FORMULA)
        make_lock(self.part, "YR", by=by)
        self.stranger = make_part(series)
        self.tint = make_lock(self.stranger, "YR3", by=by).tint
        self.guide = make_guide(self.issue, by=by, colourist=by)
        self.proof = make_proof(self.guide, by=by)
        self.grow(1)

    def grow(self, times: int) -> None:
        for _ in range(times):
            part = make_part(self.series, costume=self.part.costume)
            lock = make_lock(part, "YR3", by=self.by)
            LockNote.objects.create(series=self.series, lock=lock, text="so", written_by=self.by)
            guide = make_guide(make_issue(self.series), by=self.by, colourist=make_member(self.series, "fill-in"))
            make_mark(guide, next(self.wrong), part=part)
            make_mark(guide, "YR", part=self.part)
            make_reading(make_proof(guide, by=self.by), make_mark(guide, "YR3", part=part), decision="fault")
            make_guide(self.issue, by=self.by)
            make_mark(self.guide, "Y", part=part)
            waive(marks=[Mark.objects.get(pk=make_mark(self.guide, "R", part=part).pk)], reason="so", by=self.by)
            make_reading(self.proof, make_mark(self.guide, "YR", part=self.part))
            said = {"part": part, "tint": lock.tint, "written": "YR", "from_position": 0, "proposed_by": self.by}
            Proposal.objects.create(series=self.series, **said)
            Scene.objects.create(series=self.series, name=f"scene {part.pk}")

    def address(self, name: str, query: str = "") -> str:
        things = {
            "subject": [self.part.costume.subject_id],
            "issue": [self.issue.pk],
            "guide": [self.guide.pk],
            "proof": [self.proof.pk],
            "palette-tint": list(self.tint.percentages),
        }
        asked = query.format(part=quote(self.part.full_name), subject=self.part.costume.subject_id)
        return reverse(name, args=[self.series.slug, *things.get(name, [])]) + (f"?{asked}" if asked else "")


LISTS: dict[str, dict[tuple[str, str], int | None]] = {
    "bible": {
        ("bible", ""): 5,
        ("bible", "q=nobody"): 0,
        ("subject", ""): 4,
        ("lookup", "q=part"): 4,
        ("proposals", ""): 3,
        ("activity", "kind=locks"): None,
        ("scenes", ""): 3,
        ("people", ""): 4,
    },
    "colour": {
        ("chart", ""): 64,
        ("look-alikes", ""): None,
        ("look-alikes", "subject={subject}"): None,
    },
    "guides": {
        ("flags", ""): 6,
        ("flags", "standing=waived"): 3,
        ("flags", "standing=waived&list=waivers"): 3,
        ("issues", ""): 4,
        ("issue", ""): 4,
        ("guide", ""): 9,
        ("proofs", ""): 4,
        ("proof", ""): 3,
        ("proofs-forgotten", ""): 7,
    },
    "report": {
        ("continuity-report", "list=subjects"): 6,
        ("continuity-report", "list=colourists"): 4,
        ("continuity-report", "list=confusions"): 4,
        ("report-marks", ""): 6,
    },
    "palette": {
        ("palette", ""): 7,
        ("palette-compare", "before=1&after=2-"): None,
        ("palette-near", "issues=1"): 3,
        ("palette-tint", ""): 3,
        ("palette-tint", "list=marks"): 3,
        ("palette-old", "part={part}"): 4,
    },
}
"""Every list by its room, with how many rows it has once ``Story`` has grown by two; None where others count them."""

NEVER_GROW = {("bible", "q=nobody"), ("chart", ""), ("look-alikes", ""), ("look-alikes", "subject={subject}")}


@pytest.fixture
def story(series: Series, lead: Any) -> Story:
    return Story(series, lead)


def take(client: Client, address: str, kind: str) -> Any:
    response = client.get(f"{address}{'&' if '?' in address else '?'}as={kind}")
    assert response.status_code == 200, address
    assert response["Content-Disposition"].startswith('attachment; filename="slow-river-'), address
    return response


def as_csv(response: Any) -> tuple[list[str], list[list[str]]]:
    text = response.getvalue().decode()
    assert text.startswith(BOM)
    head, *rows = csv.reader(io.StringIO(text.removeprefix(BOM), newline=""))
    return head, rows


def as_json(client: Client, address: str) -> Any:
    return json.loads(take(client, address, "json").getvalue())


def in_a_cell(value: Any) -> str:
    """How RFC 4180 text stands for a JSON value, told again and not taken from the program."""
    if value is None:
        return ""
    if isinstance(value, str):
        return f"'{value}" if value.startswith(("=", "+", "-", "@", "\t", "\r", "'")) else value
    return json.dumps(value)


@pytest.mark.parametrize("room", LISTS)
def test_both_files_say_the_same_and_everything(story: Story, lead_client: Client, room: str) -> None:
    story.grow(2)
    for (name, query), count in LISTS[room].items():
        address = story.address(name, query)
        body = take(lead_client, address, "csv")
        head, rows = as_csv(body)
        told = as_json(lead_client, address)
        assert told["series"] == "slow-river", address
        assert head == told["columns"], address
        assert rows == [[in_a_cell(row[column]) for column in head] for row in told["rows"]], address
        assert len(rows) == count or (count is None and rows), address
        frame = pd.read_csv(io.BytesIO(take(lead_client, address, "csv").getvalue()), encoding="utf-8-sig")
        assert (list(frame.columns), len(frame)) == (head, len(rows)), f"pandas does not read {address}"


@pytest.mark.parametrize("room", LISTS)
def test_the_page_leads_to_its_files(story: Story, lead_client: Client, room: str) -> None:
    for name, query in LISTS[room]:
        address = story.address(name, query)
        links = html.fromstring(lead_client.get(address).content).xpath("//a[@download]/@href")
        for kind in ("csv", "json"):
            there = [link for link in links if link.endswith(f"as={kind}")]
            assert there, f"{address} has no link to its {kind}"
            linked = [lead_client.get(link) for link in there]
            assert all(answered.has_header("Content-Disposition") for answered in linked), there
            mine = take(lead_client, address, kind).getvalue()
            assert mine in [answered.getvalue() for answered in linked], f"{there} leave out what {address} asks"


@pytest.mark.parametrize("room", LISTS)
def test_no_list_asks_more_as_it_grows(story: Story, lead_client: Client, room: str) -> None:
    def queries(address: str) -> tuple[int, int]:
        with CaptureQueriesContext(connection) as page:
            lead_client.get(address)
        with CaptureQueriesContext(connection) as file:
            take(lead_client, address, "csv").getvalue()
        return len(page), len(file)

    def rows(address: str) -> int:
        return len(as_csv(take(lead_client, address, "csv"))[1])

    addresses = {one: story.address(*one) for one in LISTS[room]}
    small = {one: rows(address) for one, address in addresses.items()}
    before = {address: queries(address) for address in addresses.values()}
    story.grow(3)
    assert before == {address: queries(address) for address in addresses.values()}
    grown = {one for one, address in addresses.items() if rows(address) > small[one]}
    assert grown == addresses.keys() - NEVER_GROW


def shown(client: Client, address: str, row: str, cell: str = "./th|./td") -> list[list[str]]:
    """What a page shows in its rows and their cells, read by lxml: text with its spaces made one."""
    page = html.fromstring(client.get(address).content.decode())
    return [[" ".join(one.text_content().split()) for one in line.xpath(cell)] for line in page.xpath(row)]


def part_of(row: dict[str, Any]) -> str:
    return f"{row['subject']}, {row['costume']}: {row['part']}"


def test_the_marks_behind_the_report_are_those_on_the_page(story: Story, lead_client: Client) -> None:
    address = story.address("report-marks")
    assert shown(lead_client, address, "//table/tbody/tr") == [
        [
            f"issue {row['issue']}, page {row['page']}, mark {row['mark']}",
            part_of(row),
            row["code"],
            row["expected_code"],
            row["colourist"],
        ]
        for row in as_json(lead_client, address)["rows"]
    ]


def test_the_flags_are_those_on_the_page(story: Story, lead_client: Client) -> None:
    for standing in ("", "standing=waived"):
        address = story.address("flags", standing)
        told = as_json(lead_client, address)["rows"]
        assert {row["waived"] for row in told} == {bool(standing)}
        assert shown(lead_client, address, "//li[@class='flag']", "./a|./span") == [
            [
                f"{row['issue']} · page {row['page']} · mark {row['mark']}",
                part_of(row),
                f"{row['flag']}{', waived' if row['waived'] else ''}, "
                f"{row['severity']}, ΔE₀₀ {round(row['ciede2000'], 1)}",
                f"{row['code']}bible says{row['expected_code']}",
            ]
            for row in told
        ]


def test_issues_and_proofs_are_those_on_the_page(story: Story, lead_client: Client) -> None:
    states = {state.value: state.label for state in Issue.State}
    address = story.address("issues")
    assert shown(lead_client, address, "//table/tbody/tr") == [
        [row["issue"], states[row["state"]], str(row["guides"]), str(row["open_flags"] or "none")]
        for row in as_json(lead_client, address)["rows"]
    ]
    address = story.address("proofs")
    assert shown(lead_client, address, "//table/tbody/tr") == [
        [
            row["issue"], f"page {row['page']}", f"proof {row['proof']}", str(row["undecided"] or "none"),
            str(row["faults"]), f"{row['not_read']} of {row['marks']}", row["state"],
        ]
        for row in as_json(lead_client, address)["rows"]
    ]  # fmt: skip


def test_a_file_is_whole_where_the_page_shows_a_part(
    story: Story, lead_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    story.grow(2)
    for limit, name, query, row in (
        ("guides.views.flags.FLAGS_A_PAGE", "flags", "", "//li[@class='flag']"),
        ("guides.views.report.MARKS_A_PAGE", "report-marks", "", "//table/tbody/tr"),
        ("guides.views.palette.MARKS_A_PAGE", "palette-tint", "list=marks", "//table/tbody/tr"),
    ):
        address = story.address(name, query)
        monkeypatch.setattr(limit, 2)
        assert len(shown(lead_client, address, row)) == 2
        count = LISTS["palette" if name == "palette-tint" else "report"].get((name, query), 6)
        assert len(as_json(lead_client, address)["rows"]) == count


def test_a_look_that_no_mark_carries_is_in_the_file(story: Story, lead_client: Client) -> None:
    told = as_json(lead_client, story.address("palette-old") + f"?part={quote(story.stranger.full_name)}")
    assert [(row["code"], row["issue"], row["marks"], row["where"]) for row in told["rows"]] == [
        ("YR3", None, 0, None)
    ]


@pytest.mark.parametrize("kind", ["csv", "json"])
def test_strangers_and_roles_are_refused_as_on_the_page(story: Story, lead_client: Client, kind: str) -> None:
    guest = member_client(story.series, "guest")
    assert guest.get(story.address("proposals", f"as={kind}")).status_code == 403
    assert take(guest, story.address("flags"), kind)
    assert Client().get(story.address("flags", f"as={kind}")).status_code == 302
    elsewhere = reverse("flags", args=[make_series().slug])
    assert lead_client.get(elsewhere, {"as": kind}).status_code == 404
    assert lead_client.post(story.address("flags", f"as={kind}")).status_code == 405


def test_a_guest_reads_no_notes_of_the_workshop(story: Story, lead_client: Client) -> None:
    address = story.address("subject", "as=csv")
    assert "notes" in as_csv(lead_client.get(address))[0]
    assert "notes" not in as_csv(member_client(story.series, "guest").get(address))[0]


def test_filters_that_cannot_be_read_bring_the_page_and_its_words(story: Story, lead_client: Client) -> None:
    response = lead_client.get(story.address("flags", "issue=none&as=csv"))
    assert response.status_code == 422
    assert response["Content-Type"].startswith("text/html")


def test_taking_the_activity_along_is_no_visit(story: Story, lead_client: Client, lead: Any) -> None:
    as_csv(take(lead_client, story.address("activity"), "csv"))
    assert "your first visit" in lead_client.get(story.address("activity")).content.decode()


@pytest.mark.parametrize(
    ("query", "accept", "kind"),
    [
        ("as=csv", "text/html", "csv"),
        ("as=json", "", "json"),
        ("as=xml", "", ""),
        ("", "text/html,application/xhtml+xml,*/*;q=0.8", ""),
        ("", "*/*", ""),
        ("", "text/csv", "csv"),
        ("", "application/json;q=0.9, text/csv;q=0.1", "json"),
        ("", "image/png", ""),
    ],
)
def test_what_is_wanted(query: str, accept: str, kind: str) -> None:
    """RFC 9110 section 12.5.1 for the header."""
    headers = {"accept": accept} if accept else {}
    assert wanted(RequestFactory().get(f"/?{query}", headers=headers)) == kind


def read_json(table: Table) -> Any:
    return json.loads(b"".join(json_pieces(table)).decode())


def test_values_keep_their_types() -> None:
    moment = dt.datetime(2026, 3, 1, 12, tzinfo=dt.timezone(dt.timedelta(hours=2)))
    row = ("a", 1, 2.5, True, None, moment, dt.date(2026, 3, 1), -3)
    table = Table("x", tuple("abcdefgh"), [row])
    assert list(read_json(table)["rows"][0].values()) == [
        "a", 1, 2.5, True, None, "2026-03-01T10:00:00+00:00", "2026-03-01", -3,
    ]  # fmt: skip
    assert (
        b"".join(csv_pieces(Table("x", tuple("abcdefgh"), [row])))
        == ("\ufeffa,b,c,d,e,f,g,h\r\na,1,2.5,true,,2026-03-01T10:00:00+00:00,2026-03-01,-3\r\n").encode()
    )


def test_no_number_that_json_has_not() -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        read_json(Table("x", ("a",), [(float("nan"),)]))


@pytest.mark.parametrize("length", [0, 1, PIECE, PIECE + 1, 2 * PIECE])
def test_any_length_is_whole(length: int) -> None:
    def rows() -> Any:
        return ((n, 'a "b",\r\nc') for n in range(length))

    assert [row["n"] for row in read_json(Table("x", ("n", "t"), rows()))["rows"]] == list(range(length))
    text = b"".join(csv_pieces(Table("x", ("n", "t"), rows()))).decode().removeprefix(BOM)
    assert list(csv.reader(io.StringIO(text, newline=""))) == [["n", "t"], *[[str(n), t] for n, t in rows()]]


def test_rows_are_made_while_they_are_sent(rf: RequestFactory) -> None:
    made = 0

    def rows() -> Any:
        nonlocal made
        for made in range(1, 10 * PIECE + 1):
            yield (made,)

    pieces: Callable[[], Any] = iter(
        answer(rf.get("/?as=csv"), Series(slug="s"), Table("x", ("n",), rows()))
    ).__next__
    pieces()
    assert made <= PIECE


@pytest.mark.parametrize("name", ["", "../x", 'a"b', "Ä", "a b", "a\n"])
def test_names_that_no_file_should_have(name: str) -> None:
    with pytest.raises(ValueError, match="no name"):
        Table(name, ("a",), [])


def test_two_columns_have_two_names() -> None:
    with pytest.raises(ValueError, match="one name"):
        Table("x", ("a", "a"), [])
