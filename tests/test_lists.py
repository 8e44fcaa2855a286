"""Every list can be taken along: its files hold what its page shows, and no list asks more of the database as it grows."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from collections.abc import Callable
from typing import Any
from urllib.parse import quote

import pytest
from django.test import Client, RequestFactory
from django.urls import reverse

from bible.exports.tables import BOM, PIECE, Table, answer, csv_pieces, json_pieces, wanted
from bible.models import Issue, Series
from tests.factories import make_series, make_user
from tests.pages import member_client
from tests.taken import (
    Story,
    as_csv,
    as_json,
    both_files_say_the_same,
    none_asks_more,
    part_of,
    shown,
    take,
    the_page_leads_to_its_files,
)

pytestmark = pytest.mark.django_db

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
        ("assignments", ""): 3,
        ("assignments", "what=open"): 3,
        ("issue-assignments", ""): 3,
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


@pytest.mark.parametrize("room", LISTS)
def test_both_files_say_the_same_and_everything(story: Story, lead_client: Client, room: str) -> None:
    story.grow(2)
    for (name, query), count in LISTS[room].items():
        both_files_say_the_same(lead_client, story.address(name, query), count)


@pytest.mark.parametrize("room", LISTS)
def test_the_page_leads_to_its_files(story: Story, lead_client: Client, room: str) -> None:
    for name, query in LISTS[room]:
        the_page_leads_to_its_files(lead_client, story.address(name, query))


@pytest.mark.parametrize("room", LISTS)
def test_no_list_asks_more_as_it_grows(story: Story, lead_client: Client, room: str) -> None:
    addresses = {one: story.address(*one) for one in LISTS[room]}
    grown = none_asks_more(lead_client, list(addresses.values()), lambda: story.grow(3))
    assert grown == {address for one, address in addresses.items() if one not in NEVER_GROW}


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
        ("guides.flags.views.FLAGS_A_PAGE", "flags", "", "//li[@class='flag']"),
        ("guides.report.views.MARKS_A_PAGE", "report-marks", "", "//table/tbody/tr"),
        ("guides.palettes.views.MARKS_A_PAGE", "palette-tint", "list=marks", "//table/tbody/tr"),
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


@pytest.mark.django_db
def test_rows_are_made_while_they_are_sent(rf: RequestFactory) -> None:
    made = 0

    def rows() -> Any:
        nonlocal made
        for made in range(1, 10 * PIECE + 1):
            yield (made,)

    request = rf.get("/?as=csv")
    request.user = make_user()
    pieces: Callable[[], Any] = iter(answer(request, Series(slug="s"), Table("x", ("n",), rows()))).__next__
    pieces()
    assert made <= PIECE


@pytest.mark.parametrize("name", ["", "../x", 'a"b', "Ä", "a b", "a\n"])
def test_names_that_no_file_should_have(name: str) -> None:
    with pytest.raises(ValueError, match="no name"):
        Table(name, ("a",), [])


def test_two_columns_have_two_names() -> None:
    with pytest.raises(ValueError, match="one name"):
        Table("x", ("a", "a"), [])
