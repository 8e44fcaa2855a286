"""The continuity report: counts against plain loops, the page, the PDF read back with pypdf (github.com/py-pdf/pypdf)."""

from __future__ import annotations

import io
import json
from collections import Counter
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from lxml import html
from pypdf import PdfReader
from pypdf.generic import ContentStream

from bible.models import Edition, Lock, Part, Series
from bible.models.fields import NoTint
from bible.series.presses import condition
from guides.core.runs import EVERY_ISSUE, IssueRun
from guides.core.services import NewMark, place_marks
from guides.core.waivers import waive
from guides.models import Guide, Mark
from guides.report import queries as counting
from guides.report.queries import make_report
from tests.factories import make_edition, make_guide, make_issues, make_lock, make_mark, make_part, make_series
from tests.forms import form_of, link_of, text_of
from tests.pages import htmx, methods_are_refused

pytestmark = pytest.mark.django_db

PAGES = ("continuity-report", "continuity-report-pdf", "report-marks")


@pytest.fixture
def story(series: Series, lead: Any, fill_in: Any) -> dict[str, Any]:
    """A coat that drifts from issue 2 on, a belt that slips once, a hat that holds, and things not to be compared."""
    issues = make_issues(series, 3)
    coat, belt, hat, free = (make_part(series, name=name) for name in ("coat", "belt", "hat", "free"))
    for part, code in ((coat, "YR3B2"), (belt, "Y"), (hat, "B")):
        make_lock(part, code, by=lead)
    for issue, who in zip(issues, (lead, fill_in, None), strict=True):
        guide = make_guide(issue, page="1", by=lead, colourist=who)
        make_mark(guide, "YR3B2", part=coat)
        make_mark(guide, "B", part=hat)
        make_mark(guide, "Y", part=belt)
        if issue != issues[0]:
            make_mark(guide, "YR3", part=coat)
            make_mark(guide, "YR3", part=coat)
        if issue == issues[1]:
            make_mark(guide, "Y2", part=belt)
            waive(marks=[make_mark(guide, "R", part=hat)], reason="by moonlight", by=lead)
        make_mark(guide, "scrawl", part=coat)
        make_mark(guide, "Y", part=free)
        make_mark(guide, "Y")
    return {"issues": issues, "coat": coat, "belt": belt, "hat": hat}


def url(name: str, series: Series) -> str:
    return reverse(name, args=[series.slug])


def test_the_counts_are_those_of_plain_loops(series: Series, story: dict[str, Any]) -> None:
    report = make_report(series, EVERY_ISSUE, condition(series))
    compared = [m for m in Mark.objects.filter(live=True).exclude(part=None) if m.tint != -2 and m.expected != -1]
    assert report.marks == len(compared)
    assert report.differing == sum(m.tint != m.expected and not m.waived for m in compared) == 5
    assert report.allowed == 1
    pairs = Counter((m.tint, m.expected) for m in compared if m.tint != m.expected and not m.waived)
    assert {(one.wrote, one.locked): one.marks for one in report.pairs} == dict(pairs)
    cells = {(cell.wrote, cell.locked): cell.marks for row in report.matrix.rows for cell in row[1] if cell.marks}
    assert cells == dict(pairs)
    assert report.pairs[0].delta_e > 0


def test_what_held_what_drifted_and_from_when(series: Series, story: dict[str, Any]) -> None:
    report = make_report(series, EVERY_ISSUE, condition(series))
    coat, belt = report.subjects
    assert [line.subject.name for line in report.subjects] == [
        story["coat"].costume.subject.name,
        story["belt"].costume.subject.name,
    ]
    (drift,) = coat.drifts
    assert (drift.first.number, drift.last.number, drift.marks, drift.goes_on) == ("2", "3", 4, True)
    assert (series.write(drift.wrote), series.write(drift.locked)) == ("YR3", "YR3B2")
    (slip,) = belt.drifts
    assert (slip.first, slip.last, slip.goes_on) == (story["issues"][1], story["issues"][1], False)
    assert list(report.held) == [story["hat"].costume.subject], "what is allowed is no slip"
    earlier = make_report(series, IssueRun(None, story["issues"][0]), condition(series))
    assert (earlier.differing, earlier.held_count) == (0, 3)


def test_colourists(series: Series, story: dict[str, Any], fill_in: Any) -> None:
    found = {line.key: line for line in make_report(series, EVERY_ISSUE, condition(series)).colourists}
    assert {key: (line.marks, line.differing) for key, line in found.items()}[fill_in.pk] == (7, 3)
    assert found[None].name == "nobody named"
    assert found[None].differing == 2
    assert [one.marks for one in found[fill_in.pk].slips] == [2, 1]
    assert round(found[fill_in.pk].share, 1) == 42.9


def test_what_is_not_shown_is_counted(series: Series, story: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("SUBJECTS_SHOWN", "PAIRS_SHOWN", "COLOURISTS_SHOWN", "SIDE"):
        monkeypatch.setattr(counting, name, 1)
    report = make_report(series, EVERY_ISSUE, condition(series))
    assert (report.subjects_more, report.pairs_more, report.colourists_more) == (1, 1, 2)
    assert report.matrix.others == (1, 1)


def test_the_page(series: Series, story: dict[str, Any], fill_in_client: Client) -> None:
    page = fill_in_client.get(url("continuity-report", series))
    text = " ".join(html.fromstring(page.content).text_content().split())
    for words in ("15 marks compared with the bible: 9 agree, 5 differ, 1 differs by a waiver", "and it goes on"):
        assert words in text, words
    for table in html.fromstring(page.content).xpath("//table"):
        assert table.xpath(".//th[@scope='col']")
        assert table.xpath(".//th[@scope='row']")
    part = fill_in_client.get(url("continuity-report", series), {"issues": "1"}, headers=htmx("report"))
    assert "Everything held" in part.content.decode()
    assert "<h1>" not in part.content.decode()
    empty = make_series()
    assert fill_in_client.get(url("continuity-report", empty)).status_code == 404


def test_every_number_leads_to_its_marks(series: Series, story: dict[str, Any], lead_client: Client) -> None:
    tree = html.fromstring(lead_client.get(url("continuity-report", series), {"issues": "2-"}).content)
    links = [one for one in tree.xpath("//a[@href]") if "/report/marks" in one.get("href")]
    assert len(links) > 8
    for link in links:
        number = int("".join(filter(str.isdigit, link.text_content().split(" ")[0])))
        assert lead_client.get(link.get("href")).context["total"] == number, link.get("href")


def test_bad_questions_are_refused_in_words(series: Series, story: Any, lead_client: Client) -> None:
    page = lead_client.get(url("continuity-report", series), {"issues": "99"})
    assert page.status_code == 422
    assert "There is no issue 99" in page.content.decode()
    pdf = lead_client.get(url("continuity-report-pdf", series), {"issues": "3-1"})
    assert (pdf.status_code, pdf["Content-Type"]) == (422, "text/plain; charset=utf-8")
    for asked in ({"wrote": "x"}, {"wrote": "-5"}, {"locked": "9" * 30}, {"subject": "0"}, {"colourist": "me"}):
        assert lead_client.get(url("report-marks", series), asked).status_code == 422, asked
    for name in PAGES:
        methods_are_refused(lead_client, url(name, series), "post", "put", "delete")


def test_who_may_read_it(series: Series, story: Any, client: Client) -> None:
    for name in PAGES:
        assert client.get(url(name, series)).status_code == 302, "to the sign-in"


def test_the_pdf_read_back(series: Series, story: dict[str, Any], lead_client: Client) -> None:
    answer = lead_client.get(url("continuity-report-pdf", series))
    assert answer["Content-Type"] == "application/pdf"
    reader = PdfReader(io.BytesIO(answer.content))
    text = " ".join(" ".join(page.extract_text() for page in reader.pages).split())
    for words in ("15 marks compared", "5 differ", "from 2 to 3, goes on", "nobody named", "a screen is not a proof"):
        assert words in text, words
    inks = [
        tuple(round(float(value), 2) for value in operands)
        for page in reader.pages
        for operands, operator in ContentStream(page.get_contents(), reader).operations
        if operator == b"k"
    ]
    assert (0.25, 0.5, 1.0, 0.0) in inks, "YR3B2 as ink: its own percentages, DeviceCMYK"
    assert not any(
        operator in (b"rg", b"RG")
        for page in reader.pages
        for _, operator in ContentStream(page.get_contents(), reader).operations
    ), "nothing is in RGB"


def test_an_empty_series_has_a_report_too(series: Series, lead_client: Client) -> None:
    assert "nothing to compare yet" in lead_client.get(url("continuity-report", series)).content.decode()
    answer = lead_client.get(url("continuity-report-pdf", series))
    assert len(PdfReader(io.BytesIO(answer.content)).pages) == 1


def test_queries_do_not_grow(series: Series, story: dict[str, Any], lead: Any) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as caught:
            make_report(series, EVERY_ISSUE, condition(series))
        return len(caught)

    before = asked()
    for issue in make_issues(series, 3):
        for _ in range(3):
            part = make_part(series)
            make_lock(part, "YR", by=lead)
        make_mark(make_guide(issue, page="1", by=lead, colourist=lead), "B", part=part)
    assert asked() == before


def test_a_long_series_opens_with_its_newest_issues(
    series: Series, story: dict[str, Any], lead_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Everything that leads on from there keeps to them; all issues are one step away."""
    monkeypatch.setattr("guides.report.forms.LONG", 2)
    monkeypatch.setattr("guides.report.forms.NEWEST", 2)
    page = lead_client.get(url("continuity-report", series))
    assert str(page.context["report"].run) == "from issue 2 on"
    tree = html.fromstring(page.content)
    (field,) = tree.xpath("//input[@name='issues']/@value")
    assert field == "2-"
    assert all("issues=2-" in link for link in tree.xpath("//a/@href") if "/report/marks" in link or ".pdf" in link)
    (every,) = [link for link in tree.xpath("//a/@href") if link.endswith("issues=")]
    whole = lead_client.get(url("continuity-report", series) + every)
    assert whole.context["report"].run == EVERY_ISSUE
    assert "the newest" not in whole.content.decode()
    monkeypatch.setattr("guides.report.forms.LONG", 3)
    assert lead_client.get(url("continuity-report", series)).context["report"].run == EVERY_ISSUE


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("what", ["part", "costume", "subject"])
def test_what_is_archived_is_still_reported(
    series: Series, story: dict[str, Any], lead_client: Client, name: str, what: str
) -> None:
    """Its marks still stand on their pages, and differ there: the flags and the other counts have them, too."""
    coat = story["coat"]
    thing = {"part": coat, "costume": coat.costume, "subject": coat.costume.subject}[what]
    before = make_report(series, EVERY_ISSUE, condition(series))
    page = lead_client.get(reverse(f"remove-{what}", args=[series.slug, thing.pk]))
    assert form_of(page, says="Archive it").press(lead_client, "Archive it").status_code == 302
    thing.refresh_from_db()
    assert thing.archived_at
    assert lead_client.get(url(name, series)).status_code == 200
    assert lead_client.get(url(name, series) + "?as=csv").status_code == 200
    after = make_report(series, EVERY_ISSUE, condition(series))
    assert (after.marks, after.differing, after.pairs) == (before.marks, before.differing, before.pairs)
    assert after.differing == Mark.objects.filter(series=series).differing().count() == 5


def test_counts_are_written_in_one_way(series: Series, lead: Any, lead_client: Client) -> None:
    """In sentences, in cells and behind codes: a thousand has its comma everywhere."""
    coat = make_part(series, name="coat")
    make_lock(coat, "YR3B2", by=lead)
    guide = make_guide(make_issues(series, 1)[0], page="1", by=lead, colourist=lead)
    place_marks(guide=guide, by=lead, rows=[NewMark(0.5, 0.5, "YR3", coat)] * 1001)
    said = text_of(lead_client.get(url("continuity-report", series)))
    assert said.count("1,001") >= 8
    assert "1001" not in said


@pytest.fixture
def album(series: Series, story: dict[str, Any], lead: Any) -> Edition:
    """Of the last two issues, on coated stock: the coat is YR3 there, the free part has a code there alone, and what
    begins right but fades otherwise begins otherwise there."""
    album = make_edition(series, story["issues"][1:], name="Album", press="web-coated-tr003")
    sky = make_part(series, name="sky")
    make_lock(sky, "B > W", by=lead)
    page = Guide.objects.get(issue=story["issues"][2])
    make_mark(page, "B", part=sky)
    free = Part.objects.get(name="free")
    for part, code in ((story["coat"], "YR3"), (free, "R"), (sky, "R")):
        make_lock(part, code, by=lead, edition=album)
    return album


def owed_in(mark: Mark, edition: Edition) -> tuple[Any, Any]:
    """The plain derivation: what an edition's own lock says, else what the mark owes anyway; by loops."""
    for lock in Lock.every_printing.filter(edition=edition, part=mark.part, role=mark.role).standing():
        ends = lock.to_position
        if lock.from_position <= mark.position and (ends is None or mark.position < ends):
            return lock.tint, NoTint.FLAT if lock.to_tint is None else lock.to_tint
    return mark.expected, mark.expected_to


def test_for_an_edition_the_counts_are_those_of_plain_loops(series: Series, story: Any, album: Edition) -> None:
    there = [m for m in Mark.objects.filter(live=True, part__isnull=False) if m.guide.issue in story["issues"][1:]]
    needed = {m.pk: owed_in(m, album) for m in there}
    compared = [m for m in there if m.tint != NoTint.UNREADABLE and needed[m.pk][0] != NoTint.NO_LOCK]

    def says(mark: Mark) -> tuple[Any, Any]:
        return mark.tint, NoTint.FLAT if mark.to_tint is None else mark.to_tint

    wrong = [m for m in compared if says(m) not in ((m.expected, m.expected_to), needed[m.pk])]
    pairs = Counter((m.tint, needed[m.pk][0]) for m in wrong if not m.waived and m.tint != needed[m.pk][0])
    report = make_report(series, EVERY_ISSUE, condition(series, album.press), album)
    assert report.marks == len(compared)
    assert (report.differing, report.allowed) == (sum(not m.waived for m in wrong), sum(m.waived for m in wrong))
    assert {(one.wrote, one.locked): one.marks for one in report.pairs} == dict(pairs)
    read = series.read
    assert pairs == {(read("Y2"), read("Y")): 1, (read("Y"), read("R")): 2, (read("B"), read("R")): 1}
    drifts = {(drift.part.name, drift.wrote): drift.marks for line in report.subjects for drift in line.drifts}
    assert drifts == {("belt", read("Y2")): 1, ("free", read("Y")): 2, ("sky", read("B")): 1}
    held = {m.part.costume.subject for m in compared if m.part} - {m.part.costume.subject for m in wrong if m.part}
    assert {*report.held} == held | {story["hat"].costume.subject}
    assert sum(line.differing for line in report.colourists) == report.differing
    first = make_report(series, EVERY_ISSUE, condition(series))
    assert first.differing == 6, "the first printing's stays as it was, but for the sky"


def taken(response: Any) -> str:
    return b"".join(response.streaming_content).decode()


def test_page_list_and_pdf_are_asked_for_an_edition(series: Series, album: Edition, lead_client: Client) -> None:
    first = lead_client.get(url("continuity-report", series))
    page = form_of(first, has="edition").fill(edition="Album").press(lead_client)
    assert page.context["report"].edition == album
    assert "All issues in the edition Album" in text_of(page)
    assert f"Colours computed for {condition(series, album.press).title}" in text_of(page)
    behind = lead_client.get(link_of(page, "1 of 1 mark"))
    assert "Marks that differ in the edition Album" in text_of(behind)
    (mark,) = behind.context["marks"]
    (tally,) = html.fromstring(behind.content.decode()).find_class("tally")
    back = lead_client.get(tally[0].get("href"))
    assert back.context["report"].edition == album
    listed = taken(lead_client.get(link_of(behind, "JSON")))
    assert json.loads(listed)["edition"] == "Album"
    assert series.write(mark.expected) in listed
    table = json.loads(taken(lead_client.get(link_of(page, "JSON"))))
    assert (table["edition"], table["issues"]) == ("Album", "all issues")
    pdf = lead_client.get(link_of(page, "As PDF"))
    words = " ".join(sheet.extract_text() for sheet in PdfReader(io.BytesIO(pdf.content)).pages)
    assert "all issues in the edition Album" in " ".join(words.split())
    assert "album" in pdf.headers["Content-Disposition"].lower()
    assert lead_client.get(url("continuity-report", series), {"edition": "Trade"}).status_code == 404
