"""What to read before one colours some pages, on screen and on paper."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from pypdf import PdfReader

from bible.locks.notes import note_on_lock
from bible.models import Issue, Scene, Series
from guides.assignments.reading import to_read
from guides.assignments.services import give_pages
from guides.core.scene_areas import apply_scene
from guides.desk.page_notes import write_page_note
from tests.factories import make_guide, make_issue, make_lock, make_mark, make_part, make_subject
from tests.forms import form_of, link_of, text_of
from tests.pages import client_of

pytestmark = pytest.mark.django_db


class Stage:
    """Three issues: a slip in the first, somebody marked here, somebody elsewhere here, somebody only before."""

    def __init__(self, series: Series, lead: Any) -> None:
        self.series, self.lead = series, lead
        self.first, self.here = make_issue(series), make_issue(series)
        self.parts = [make_part(series) for _ in range(3)]
        self.locks = [make_lock(part, "YR3B2", by=lead) for part in self.parts]
        before = make_guide(self.first, page="1", by=lead)
        make_mark(before, "YR3B2", part=self.parts[0])
        make_mark(before, "YR", part=self.parts[0])
        make_mark(before, "YR3B2", part=self.parts[2])
        self.page = make_guide(self.here, page="4", by=lead)
        make_mark(self.page, "YR3B2", part=self.parts[0])
        make_mark(make_guide(self.here, page="9", by=lead), "YR3B2", part=self.parts[1])
        make_subject(series, name="Never seen")

    def names(self) -> list[str]:
        return [part.costume.subject.name for part in self.parts]


@pytest.fixture
def stage(series: Series, lead: Any) -> Stage:
    return Stage(series, lead)


def test_the_cast_by_where_it_is_marked(stage: Stage) -> None:
    sheet = to_read(stage.here, ["4"])
    told = [(chapter.title, [one.sheet.subject.name for one in chapter.subjects]) for chapter in sheet.chapters]
    on_page, elsewhere, before = stage.names()
    assert told == [
        ("Marked on these pages", [on_page]),
        ("Marked elsewhere in the issue", [elsewhere]),
        ("In the issue before (1), and not marked here yet", [before]),
    ]


def test_what_was_painted_otherwise_before_stands_beside_its_part(stage: Stage) -> None:
    line = to_read(stage.here, ["4"]).chapters[0].subjects[0].costumes[0].parts[0]
    assert [code.written for code in line.part.codes] == ["YR3B2"]
    assert [str(slip) for slip in line.slips] == ["YR for YR3B2, 1 ×, last in issue 1"]
    assert to_read(stage.first, ["1"]).chapters[0].subjects[0].costumes[0].parts[0].slips == ()


def test_notes_of_the_pages_and_of_the_locks(stage: Stage) -> None:
    def note(first: str, last: str, text: str) -> None:
        write_page_note(issue=stage.here, first_page=first, last_page=last, text=text, by=stage.lead)

    note("3", "5", "all of it by night")
    note("6", "8", "not ours")
    note_on_lock(lock=stage.locks[0], text="from the model sheet", by=stage.lead)
    apply_scene(guide=stage.page, scene=Scene.objects.create(series=stage.series, name="Night"), by=stage.lead)
    sheet = to_read(stage.here, ["4"])
    assert [one.text for one in sheet.notes] == ["all of it by night"]
    assert [(name, pages) for name, pages, _ in sheet.scenes] == [("Night", "4")]
    (told,) = sheet.chapters[0].subjects[0].costumes[0].parts[0].notes
    assert told.startswith("from the model sheet (")
    assert not to_read(stage.here, ["12"]).notes


def test_one_reads_for_ones_own_pages_unless_one_asks(stage: Stage, fill_in: Any) -> None:
    give_pages(issue=stage.here, pages=["9", "10"], colourist=fill_in, by=stage.lead)
    client = client_of(fill_in)
    start = client.get(reverse("series", args=[stage.series.slug]))
    page = client.get(link_of(start, f"issue {stage.here.number}"))
    assert page.context["sheet"].pages == ("9", "10")
    asked = form_of(page, has="pages").fill(pages="4").press(client)
    assert asked.context["sheet"].pages == ("4",)
    every = client_of(stage.lead).get(reverse("to-read", args=[stage.series.slug, stage.here.pk]))
    assert every.context["sheet"].pages == ("4", "9", "10")


def test_pages_that_cannot_be_read(stage: Stage, lead_client: Client) -> None:
    for name in ("to-read", "to-read-pdf"):
        answer = lead_client.get(reverse(name, args=[stage.series.slug, stage.here.pk]), {"pages": "9-4"})
        assert answer.status_code == 422
        assert "runs backwards" in answer.content.decode()


def test_on_paper_it_says_the_same(stage: Stage, lead_client: Client, fill_in: Any) -> None:
    give_pages(issue=stage.here, pages=["4", "10"], colourist=fill_in, by=stage.lead, note="lamplight")
    page = lead_client.get(reverse("to-read", args=[stage.series.slug, stage.here.pk]), {"pages": "4, 10"})
    answer = lead_client.get(link_of(page, "PDF with patches in ink (CMYK)"))
    assert answer["Content-Type"] == "application/pdf"
    told = " ".join("".join(one.extract_text() for one in PdfReader(io.BytesIO(answer.content)).pages).split())
    for words in (*stage.names(), "YR3B2", "before: YR for YR3B2", "lamplight", "not in yet", "Issue 2: 4, 10"):
        assert words in told, words
    assert "Never seen" not in told
    assert "Never seen" not in text_of(page)


def test_an_issue_with_nothing_has_a_sheet(series: Series, lead_client: Client) -> None:
    issue = make_issue(series)
    for name in ("to-read", "to-read-pdf"):
        assert lead_client.get(reverse(name, args=[series.slug, issue.pk])).status_code == 200


def test_it_asks_no_more_of_the_database_as_it_grows(stage: Stage) -> None:
    def queries() -> int:
        issue = Issue.objects.select_related("series").get(pk=stage.here.pk)
        with CaptureQueriesContext(connection) as asked:
            to_read(issue, ["4", "5"])
        return len(asked)

    before = queries()
    for _ in range(3):
        part = make_part(stage.series)
        note_on_lock(lock=make_lock(part, "YR", by=stage.lead), text="so", by=stage.lead)
        make_mark(make_guide(stage.first, by=stage.lead), "Y", part=part)
        make_mark(stage.page, "YR", part=part)
    assert queries() == before
