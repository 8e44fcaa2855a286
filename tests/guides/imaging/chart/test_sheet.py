"""The sheet: what is on it, and that the page to print holds exactly that."""

from __future__ import annotations

import datetime as dt
import io
import json

import numpy as np
import pytest
from pypdf import PdfReader

from bible.colour.charts import CHART_64, CHART_125_75, Chart
from bible.colour.notation import LETTERS_64
from bible.colour.tints import PAPER, Tint
from guides.imaging.chart.sheet import PAGE_SIZES, SheetError, SheetLayout, lay_out, wall_chart
from guides.paper.chart_sheet import write_chart_sheet
from tests.pdfs import filled_rectangles, words_of


def make_sheet(chart: Chart = CHART_64, page: str = "a4") -> SheetLayout:
    return lay_out(chart.tints, LETTERS_64.write, title="Our chart", page=page)


@pytest.mark.parametrize("page", PAGE_SIZES)
@pytest.mark.parametrize("chart", [CHART_64, CHART_125_75], ids=["64", "125"])
def test_a_sheet_holds_every_tint_and_what_a_press_is_known_by(chart: Chart, page: str) -> None:
    sheet = make_sheet(chart, page)
    printed = [patch.tint for patch in sheet.patches]
    assert set(chart.tints) <= set(printed)
    for ink in "cmyk":
        assert {getattr(one, ink) for one in printed if one.total_ink == getattr(one, ink)} >= set(range(0, 101, 10))
    assert printed.count(PAPER) >= 8
    assert sum(printed.count(one) > 1 for one in set(printed)) >= 12
    assert Tint(100, 100, 100, 100) in printed


@pytest.mark.parametrize("page", PAGE_SIZES)
def test_nothing_on_a_sheet_lies_on_anything_else(page: str) -> None:
    sheet = make_sheet(CHART_125_75, page)
    boxes = [patch.corners[[0, 2]] for patch in sheet.patches] + [corners[[0, 2]] for _, corners in sheet.marks()]
    assert sheet.target
    x, y, width, height = sheet.target
    boxes.append(np.array([[x, y], [x + width, y + height]]))
    boxes += [np.array([spot - 1.6, spot + 1.6]) for spot in sheet.paper_spots()]
    for at, one in enumerate(boxes):
        assert (one >= 0).all()
        assert (one <= [sheet.width, sheet.height]).all()
        for other in boxes[:at]:
            assert (np.minimum(one[1], other[1]) <= np.maximum(one[0], other[0])).any()


def test_a_layout_comes_back_as_it_was_and_another_has_another_number() -> None:
    sheet = make_sheet()
    assert SheetLayout.from_dict(json.loads(json.dumps(sheet.to_dict()))) == sheet
    checks = {make_sheet(chart, page).check for chart in (CHART_64, CHART_125_75) for page in PAGE_SIZES}
    assert len(checks) == 4


@pytest.mark.parametrize("bad", [None, [], {}, {"patches": []}, {"title": "x", "patches": [{"code": "Y"}]}])
def test_what_is_no_layout_is_refused_in_words(bad: object) -> None:
    with pytest.raises(SheetError, match="not the layout"):
        SheetLayout.from_dict(bad)


def test_a_chart_too_large_for_a_page_is_refused_with_both_counts() -> None:
    big = Chart.grid("big", "big", (10, 20, 30, 40, 50, 60, 70, 80, 90, 100))
    with pytest.raises(SheetError, match=r"holds \d+ patches; this chart with its ramps has 1\d\d\d"):
        make_sheet(big)


def test_a_page_that_is_none_is_refused() -> None:
    with pytest.raises(SheetError, match="a4, letter"):
        make_sheet(page="a0")


def test_the_page_holds_the_tints_as_ink_and_no_other_colour() -> None:
    sheet = make_sheet()
    out = io.BytesIO()
    write_chart_sheet(sheet, dt.datetime(2026, 1, 2, tzinfo=dt.UTC), out)
    reader = PdfReader(out)
    assert len(reader.pages) == 1
    filled = filled_rectangles(reader)
    assert {one[0] for one in filled} == {"k"}
    inked = [tuple(round(share * 100) for share in one[1:]) for one in filled]
    for patch in sheet.patches:
        if not patch.tint.is_paper:
            assert patch.tint.percentages in inked
    words = words_of(reader)
    assert all(word in words for word in ("YR3B2", "Run", "Date", "Paper", "a screen is not a proof"))


def test_a_wall_chart_needs_a_code_for_every_cell() -> None:
    with pytest.raises(SheetError, match="8 cells; there are 3 codes"):
        wall_chart(["Y", "R", "B"], [Tint(y=100), Tint(m=100), Tint(c=100)], 2, 4)
