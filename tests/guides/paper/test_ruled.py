"""Tables for paper, read back with pypdf (github.com/py-pdf/pypdf)."""

from __future__ import annotations

import io
from typing import Any

import pytest
from pypdf import PdfReader
from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, SimpleDocTemplate

from bible.colour.tints import Tint
from guides.paper.paragraphs import paragraph
from guides.paper.ruled import PaperSwatch, RuledTable, width_of
from tests.pdfs import filled_rectangles


def printed(*story: Flowable) -> PdfReader:
    out = io.BytesIO()
    SimpleDocTemplate(out, pagesize=A4).build(list(story))
    return PdfReader(out)


def test_a_long_table_goes_on_under_its_head_and_loses_no_row() -> None:
    tints = [Tint(c=25 * (at % 5), k=at % 2) for at in range(150)]
    rows: list[list[Any]] = [["Part", ""], *([f"part-{at:03}", PaperSwatch(tint)] for at, tint in enumerate(tints))]
    reader = printed(RuledTable(rows, [60 * mm, 14 * mm]))
    assert len(reader.pages) > 2
    read = [page.extract_text().split() for page in reader.pages]
    assert [words[0] for words in read] == ["Part"] * len(reader.pages)
    assert [word for words in read for word in words if word != "Part"] == [f"part-{at:03}" for at in range(150)]
    fills = [tuple(round(100 * share) for share in fill[1:]) for fill in filled_rectangles(reader)]
    assert fills == [tint.percentages for tint in tints]


def test_a_head_never_stands_alone_at_the_foot_of_a_page() -> None:
    table = RuledTable([["Part"], ["coat"], ["belt"]], [60 * mm])
    _, height = table.wrap(0, 0)
    head, coat, _ = table.heights
    assert table.split(0, head + coat - 1) == []
    parts = table.split(0, head + coat + 1)
    assert [part.rows for part in parts if isinstance(part, RuledTable)] == [
        [["Part"], ["coat"]],
        [["Part"], ["belt"]],
    ]
    assert table.split(0, height) == [table]


@pytest.mark.parametrize(
    ("swatch", "fills"),
    [
        (PaperSwatch(Tint(m=100), Tint(y=25)), [("k", 0, 1, 0, 0), ("k", 0, 0, 0.25, 0)]),
        (PaperSwatch(Tint(c=12, m=34, y=56, k=78)), [("k", 0.12, 0.34, 0.56, 0.78)]),
        (PaperSwatch(None), []),
    ],
)
def test_swatches_are_ink_alone_and_in_a_table(swatch: PaperSwatch, fills: list[Any]) -> None:
    assert filled_rectangles(printed(swatch)) == fills
    assert filled_rectangles(printed(RuledTable([["Tint"], [swatch]], [14 * mm]))) == fills


def test_paragraphs_make_a_row_as_high_as_they_are() -> None:
    said = "so long that it takes several lines of a narrow column"
    table = RuledTable([["Note"], [[paragraph(said), paragraph("and more")]], ["short"]], [20 * mm])
    reader = printed(table)
    assert " ".join(reader.pages[0].extract_text().split()) == f"Note {said} and more short"
    assert table.heights[1] > 4 * table.heights[2]


def test_words_are_measured_bold_where_they_are_set_bold() -> None:
    assert width_of("YR3B2", bold=True) > width_of("YR3B2")
    assert width_of("Č", 16) == pytest.approx(2 * width_of("Č", 8))
