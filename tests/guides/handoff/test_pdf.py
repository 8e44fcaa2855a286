"""The hand-off PDF, read back with pypdf (github.com/py-pdf/pypdf), which had no part in writing it."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.contrib.auth.models import User
from pypdf import PdfReader
from pypdf.generic import ContentStream

from bible.colour.tints import Tint
from bible.models import Issue
from guides.handoff.pdf import write_pdf
from guides.handoff.queries import guide_hand_off, issue_hand_off
from guides.signoff.services import sign_off
from tests.factories import make_member
from tests.pdfs import filled_rectangles

pytestmark = pytest.mark.django_db


def read(hand_off: Any) -> PdfReader:
    out = io.BytesIO()
    write_pdf(hand_off, out)
    return PdfReader(out)


def test_every_swatch_is_devicecmyk_with_the_codes_percentages(marked_issue: Any) -> None:
    fills = filled_rectangles(read(issue_hand_off(marked_issue)))
    assert {fill[0] for fill in fills} == {"k"}
    shown = {tuple(round(value * 100, 6) for value in fill[1:]) for fill in fills}
    codes = ["YR3B2", "YB", "W", "YR", "Y3R3", "Y2R2"]
    tints = {marked_issue.series.read(code).percentages for code in codes}
    films = {Tint(**{ink: percent}).percentages for ink, percent in _films(marked_issue)}
    assert shown == tints | films


def _films(issue: Any) -> set[tuple[str, int]]:
    plates = [plate for page in issue_hand_off(issue).pages for plate in page.plates.plates]
    return {(plate.ink, percent) for plate in plates for percent in (plate.start, plate.end)}


def test_text_and_rules_are_key_alone_and_nothing_is_rgb_but_the_guides(marked_issue: Any) -> None:
    reader = read(issue_hand_off(marked_issue))
    for page in reader.pages:
        for operands, operator in ContentStream(page.get_contents(), reader).operations:
            assert operator not in (b"rg", b"RG", b"g", b"G"), operands
            if operator == b"K":
                assert [float(number) for number in operands[:3]] == [0, 0, 0]
    assert {str(image.image.mode) for page in reader.pages for image in page.images if image.image} == {"RGB"}


def test_nothing_is_left_to_guess(marked_issue: Any) -> None:
    reader = read(issue_hand_off(marked_issue))
    text = "\n".join(page.extract_text() for page in reader.pages)
    joined = " ".join(text.split())
    assert "Press condition: Coldset newsprint (TR 002)" in joined
    assert joined.count("the house’s own proof decides") == len(reader.pages)
    for said in (
        "2 flags are open" if issue_hand_off(marked_issue).open_count == 2 else "flags are open",
        "“+Y 8 ?” cannot be read",
        "waived by lead: in disguise",
        "Mind the collar",
        "the line art",
        "Ada, the elder, =work: coat: left",
        "YR > Y3R3",
        "solid to 50 %",
        "NOT READ: ask",
        "Not read: ask",
    ):
        assert said in joined, said


def test_whoever_holds_a_page_knows_its_state_whom_to_ask_and_what_is_missing(marked_issue: Any, lead: Any) -> None:
    User.objects.filter(pk=lead.pk).update(first_name="Thea", last_name="Sand", email="thea@example.org")
    Issue.objects.filter(pk=marked_issue.pk).update(own_pages=4)
    issue = Issue.objects.get(pk=marked_issue.pk)
    reader = read(issue_hand_off(issue))
    pages = [" ".join(page.extract_text().split()) for page in reader.pages]
    assert all("NOT SIGNED OFF" in words for words in pages)
    assert "Ask: Thea Sand (thea@example.org)." in pages[0]
    assert "Not in yet: pages 1, 2, 4." in pages[0]
    assert "400 × 600 (300 dpi at 34 × 51 mm)" in pages[0]
    sign_off(
        issue=issue, by=make_member(issue.series, "editor", first_name="Ed", last_name="Keeper"), words="as it is"
    )
    pages = [page.extract_text() for page in read(issue_hand_off(Issue.objects.get(pk=issue.pk))).pages]
    assert all("Signed off by Ed Keeper on " in words for words in pages)
    assert not any("NOT SIGNED OFF" in words for words in pages)


def test_one_page_alone_has_only_its_marks(marked_issue: Any) -> None:
    page = marked_issue.guides.get(page="3")
    text = " ".join(one.extract_text() for one in read(guide_hand_off(page)).pages)
    assert "YR > Y3R3" in text
    assert "cover" not in text


def test_a_name_with_markup_in_it_is_text(marked_issue: Any, series: Any) -> None:
    series.title = "<b>Tom & Ann</b> <img src='x'/>"
    text = " ".join(read(issue_hand_off(marked_issue)).pages[0].extract_text().split())
    assert "<b>Tom & Ann</b> <img src='x'/>" in text


def test_the_number_of_queries_does_not_grow_with_the_pages(
    marked_issue: Any, lead: Any, django_assert_max_num_queries: Any
) -> None:
    from tests.factories import make_guide, make_mark

    for number in range(5, 12):
        make_mark(make_guide(marked_issue, by=lead, page=str(number)), "YR")
    with django_assert_max_num_queries(14):
        hand_off = issue_hand_off(marked_issue)
        assert [line.state for page in hand_off.pages for line in page.lines]
