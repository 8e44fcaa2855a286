"""A4 or US Letter (ISO 216; ANSI/ASME Y14.1 A), chosen once for every PDF that people print; read back with pypdf."""

from __future__ import annotations

import io
import zipfile
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from bible.tasks.worker import work_off
from tests.factories import make_guide, make_issue, make_lock, make_mark, make_part, make_proof
from tests.forms import form_of

pytestmark = pytest.mark.django_db

MILLIMETRES = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}


def sizes(data: bytes) -> set[tuple[float, float]]:
    boxes = [page.mediabox for page in PdfReader(io.BytesIO(data)).pages]
    return {(round(float(box.width) / 72 * 25.4, 1), round(float(box.height) / 72 * 25.4, 1)) for box in boxes}


@pytest.fixture
def papers(series: Any, lead: Any) -> list[str]:
    """The address of every PDF with a paper to choose, where there is something on it."""
    issue, part = make_issue(series), make_part(series)
    make_lock(part, "YR3B2", by=lead)
    guide = make_guide(issue, by=lead)
    make_mark(guide, "YR", part=part)
    proof = make_proof(guide, by=lead)
    here = series.slug
    return [
        reverse("hand-off-file", args=[here, issue.pk, "pdf"]),
        reverse("guide-hand-off-file", args=[here, guide.pk, "pdf"]),
        reverse("hand-off-file", args=[here, issue.pk, "zip"]),
        reverse("colour-sheet-pdf", args=[here, part.costume.subject_id]),
        reverse("wall-sheets", args=[here, part.costume.subject_id]),
        reverse("continuity-report-pdf", args=[here]),
        reverse("to-read-pdf", args=[here, issue.pk]),
        reverse("issue-corrections", args=[here, issue.pk]),
        reverse("page-corrections", args=[here, proof.pk]),
    ]


def printed(client: Client, address: str, **said: str) -> bytes:
    answer: Any = client.get(address, said)
    assert answer.status_code == 200, address
    data: bytes = answer.getvalue()
    if not data.startswith(b"PK"):
        return data
    with zipfile.ZipFile(io.BytesIO(data)) as pack:
        return pack.read(next(name for name in pack.namelist() if name.endswith(".pdf")))


def test_one_choice_holds_for_every_pdf_and_an_address_may_ask_for_the_other(
    lead_client: Client, series: Any, papers: list[str]
) -> None:
    for address in papers:
        assert sizes(printed(lead_client, address)) == {MILLIMETRES["a4"]}, address
    there = reverse("booklets", args=[series.slug])
    chooser = form_of(lead_client.get(there), action=reverse("paper"))
    assert chooser.press(lead_client, "Letter").headers["Location"] == there
    page = lead_client.get(there)
    assert 'value="letter" aria-pressed="true"' in " ".join(page.content.decode().split())
    for address in papers:
        assert sizes(printed(lead_client, address)) == {MILLIMETRES["letter"]}, address
    assert sizes(printed(lead_client, papers[0], paper="a4")) == {MILLIMETRES["a4"]}
    form_of(page, action=reverse("new-booklet", args=[series.slug])).press(lead_client)
    work_off()
    booklet = reverse("booklet-file", args=[series.slug, series.booklets.get().pk])
    assert sizes(printed(lead_client, booklet)) == {MILLIMETRES["letter"]}


def test_a_paper_that_is_not_there_is_refused(lead_client: Client, series: Any, papers: list[str]) -> None:
    for address in papers:
        assert lead_client.get(address, {"paper": "a0"}).status_code == 404, address
    asked = lead_client.post(reverse("new-booklet", args=[series.slug]) + "?paper=a0", {"issue": ""})
    assert asked.status_code == 404
    lead_client.cookies["paper"] = "a0"
    assert sizes(printed(lead_client, papers[0])) == {MILLIMETRES["a4"]}
    answer: Any = lead_client.post(reverse("paper"), {"paper": "a0"}, follow=True)
    assert "There is no such paper: choose A4 or Letter." in answer.content.decode()
    assert lead_client.get(reverse("paper")).status_code == 405
