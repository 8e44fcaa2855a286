"""What the tests of lists share: a series with something in every list, its files read, and what holds for each list."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from typing import Any
from urllib.parse import quote

import pandas as pd
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from lxml import html

from bible.exports.tables import BOM
from bible.models import LockNote, Proposal, Scene, Series
from guides.assignments.services import give_pages
from guides.core.waivers import waive
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
)

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
            give_pages(issue=self.issue, pages=[f"insert {part.pk}"], colourist=self.by, by=self.by)

    def address(self, name: str, query: str = "") -> str:
        things = {
            "subject": [self.part.costume.subject_id],
            "issue": [self.issue.pk],
            "issue-assignments": [self.issue.pk],
            "guide": [self.guide.pk],
            "proof": [self.proof.pk],
            "palette-tint": [self.tint],
        }
        asked = query.format(part=quote(self.part.full_name), subject=self.part.costume.subject_id)
        return reverse(name, args=[self.series.slug, *things.get(name, [])]) + (f"?{asked}" if asked else "")


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


def both_files_say_the_same(client: Client, address: str, count: int | None) -> None:
    """CSV and JSON hold the same rows, ``count`` of them (None: some), and pandas reads the CSV."""
    head, rows = as_csv(take(client, address, "csv"))
    told = as_json(client, address)
    assert told["series"] == "slow-river", address
    assert head == told["columns"], address
    assert rows == [[in_a_cell(row[column]) for column in head] for row in told["rows"]], address
    assert len(rows) == count or (count is None and rows), address
    frame = pd.read_csv(io.BytesIO(take(client, address, "csv").getvalue()), encoding="utf-8-sig")
    assert (list(frame.columns), len(frame)) == (head, len(rows)), f"pandas does not read {address}"


def the_page_leads_to_its_files(client: Client, address: str) -> None:
    links = html.fromstring(client.get(address).content).xpath("//a[@download]/@href")
    for kind in ("csv", "json"):
        there = [link for link in links if link.endswith(f"as={kind}")]
        assert there, f"{address} has no link to its {kind}"
        linked = [client.get(link) for link in there]
        assert all(answered.has_header("Content-Disposition") for answered in linked), there
        mine = take(client, address, kind).getvalue()
        assert mine in [answered.getvalue() for answered in linked], f"{there} leave out what {address} asks"


def none_asks_more(client: Client, addresses: list[str], grow: Callable[[], None]) -> set[str]:
    """No page and no file asks more queries once the story has grown. Returns whose files have more rows then."""

    def queries(address: str) -> tuple[int, int]:
        with CaptureQueriesContext(connection) as page:
            client.get(address)
        with CaptureQueriesContext(connection) as file:
            take(client, address, "csv").getvalue()
        return len(page), len(file)

    def rows(address: str) -> int:
        return len(as_csv(take(client, address, "csv"))[1])

    small = {address: rows(address) for address in addresses}
    before = {address: queries(address) for address in addresses}
    grow()
    assert before == {address: queries(address) for address in addresses}
    return {address for address in addresses if rows(address) > small[address]}


def shown(client: Client, address: str, row: str, cell: str = "./th|./td") -> list[list[str]]:
    """What a page shows in its rows and their cells, read by lxml: text with its spaces made one."""
    page = html.fromstring(client.get(address).content.decode())
    return [[" ".join(one.text_content().split()) for one in line.xpath(cell)] for line in page.xpath(row)]


def part_of(row: dict[str, Any]) -> str:
    return f"{row['subject']}, {row['costume']}: {row['part']}"
