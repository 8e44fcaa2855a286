"""Sheets to pin up, read back with pypdf: a page a costume, its patches in ink, its codes, the paper asked for."""

from __future__ import annotations

import io
import itertools
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from bible.models import Series, Subject
from guides.booklets.wall_pdf import level_with
from tests.factories import make_costume, make_guide, make_issue, make_lock, make_mark, make_part, make_subject
from tests.pages import methods_are_refused
from tests.pdfs import filled_rectangles, words_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def ada(series: Series) -> Subject:
    subject = make_subject(series, name="Ada Penn")
    guide = make_guide(make_issue(series))
    for name, code in (("work coat", "YR3B2"), ("oilskins", "Y")):
        part = make_part(costume=make_costume(subject, name=name), name="coat")
        make_lock(part, code)
        make_lock(part, "B2", role="shade")
        make_mark(guide, code, part=part)
    make_part(costume=make_costume(subject, name="bare"), name="belt")
    return subject


def ask(client: Client, subject: Subject, **query: str) -> Any:
    return client.get(reverse("wall-sheets", args=[subject.series.slug, subject.pk]), query)


@pytest.mark.parametrize(("paper", "millimetres"), [("a4", (210, 297)), ("letter", (216, 279)), ("a3", (297, 420))])
def test_a_page_a_costume_on_the_paper_asked_for(
    fill_in_client: Client, ada: Subject, paper: str, millimetres: tuple[int, int]
) -> None:
    """Sizes: ISO 216, ANSI/ASME Y14.1."""
    reader = PdfReader(io.BytesIO(ask(fill_in_client, ada, paper=paper).content))
    assert len(reader.pages) == 2, "a costume with nothing locked has none"
    size = reader.pages[0].mediabox
    assert [float(side) / 72 * 25.4 for side in (size.width, size.height)] == pytest.approx(millimetres, abs=0.6)
    fills = filled_rectangles(reader)
    for ink in ((0.25, 0.5, 1, 0), (0, 0, 1, 0), (0.25, 0, 0, 0)):
        assert ("k", *ink) in fills, "patches are the codes' own percentages"
    words = words_of(reader)
    for said in (
        "Ada Penn",
        "work coat, worn always",
        "YR3B2",
        "shade",
        "Press condition: Coldset newsprint",
        "made",
    ):
        assert said in words


def test_patches_stand_level_with_their_parts_and_never_overlap() -> None:
    tops = level_with([90.0, 88.0, 15.0, 3.0], 20.0, 100.0)
    assert all(upper - lower >= 20.0 for upper, lower in itertools.pairwise(tops))
    assert tops[0] <= 100.0
    assert tops[-1] >= 20.0
    assert level_with([50.0], 20.0, 100.0) == [50.0]


def test_nothing_locked_is_said(fill_in_client: Client, series: Series) -> None:
    bare = make_subject(series, name="Nobody")
    assert "Nothing is locked yet." in words_of(PdfReader(io.BytesIO(ask(fill_in_client, bare).content)))


def test_what_cannot_be_printed_is_refused(fill_in_client: Client, ada: Subject) -> None:
    assert ask(fill_in_client, ada, paper="a0").status_code == 404
    assert ask(fill_in_client, ada, issue="99").status_code == 422
    methods_are_refused(fill_in_client, reverse("wall-sheets", args=[ada.series.slug, ada.pk]), "post", "put")
