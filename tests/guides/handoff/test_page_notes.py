"""Notes for whole pages in everything that is handed off, and nowhere where they could not come back."""

from __future__ import annotations

import csv
import io
import zipfile
from typing import Any

from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from guides.desk.page_notes import remove_page_note
from guides.handoff.annotations import collection
from guides.handoff.pdf import write_pdf
from guides.handoff.queries import issue_hand_off
from guides.handoff.zipped import write_zip
from guides.models import PageNote


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_the_pack_says_on_each_page_what_holds_there(marked_issue: Any) -> None:
    out = io.BytesIO()
    write_zip(issue_hand_off(marked_issue), "https://bible.example/s/slow-river/", out)
    pack = zipfile.ZipFile(out)
    files = {name.rpartition("/")[2]: pack.read(name) for name in pack.namelist()}
    codes = rows(files["codes.csv"].decode())
    said = {(row["page"], row["holds for the page"]) for row in codes}
    assert said == {("cover", ""), ("3", "'=All skin is night (pages 1–4)")}, "and a cell is never a formula"
    notes = rows(files["notes.csv"].decode())
    told = [(row["page"], row["mark"], row["holds for"], row["note"]) for row in notes]
    assert told == [("cover", "3", "", "Mind the collar"), ("3", "", "pages 1–4", "'=All skin is night")]
    assert "notes.csv" in files["read-me.txt"].decode()


def test_the_pdf_prints_them_and_not_those_of_other_pages(marked_issue: Any, lead: Any) -> None:
    def text() -> str:
        out = io.BytesIO()
        write_pdf(issue_hand_off(marked_issue), out)
        return " ".join(" ".join(page.extract_text() for page in PdfReader(out).pages).split())

    assert text().count("Holds for this page") == 1
    assert "=All skin is night (pages 1–4; lead" in text()
    assert "Not here" not in text()
    remove_page_note(note=PageNote.objects.get(first_page="1"), by=lead)
    assert "Holds for this page" not in text()


def test_the_screen_shows_them(marked_issue: Any, lead_client: Client, series: Any) -> None:
    answer = lead_client.get(reverse("hand-off", args=[series.slug, marked_issue.pk])).content.decode()
    assert answer.count("All skin is night") == 1
    assert "Not here" not in answer


def test_annotations_stay_marks_only(marked_issue: Any) -> None:
    """A note has no place on a picture: it could not come back without loss."""
    hand_off = issue_hand_off(marked_issue)
    told = collection(hand_off, "https://bible.example/s/slow-river/")
    assert told["total"] == hand_off.mark_count
    assert "skin is night" not in str(told)
