"""The bench for strangers' pages matches codes to marks by place; worked out by hand."""

from __future__ import annotations

from typing import Any

import numpy as np

from guides.imaging.writing.crops import Place
from guides.imaging.writing.page import Alternative, WrittenCode
from tests.benchmarks.bench_strangers import ForeignPage, cast, count, matched


def _code(x: float, y: float, code: str, p: float = 0.97) -> WrittenCode:
    return WrittenCode(Place(x, y, 60, 20, 0.0), code, code, p, (Alternative(code, p),), 0.99)


def _mark(x: float, y: float, code: str, **more: Any) -> dict[str, Any]:
    plain = {"written_code": code, "tint_code": code, "gradient": None, "written_wrong": None}
    return {"x": x, "y": y, "figure": "fig1", "part": "coat", "panel": 1, **plain, **more}


def _page(marks: list[dict[str, Any]], fades: list[dict[str, Any]] | None = None) -> ForeignPage:
    return ForeignPage("7", np.zeros((400, 400, 3), np.uint8), marks, fades or [], 5.0)


def test_codes_are_matched_one_to_one_and_none_from_far_away() -> None:
    page = _page([_mark(100, 100, "C50"), _mark(110, 130, "M50"), _mark(300, 300, "Y50")])
    codes = (_code(100, 100, "C50"), _code(105, 126, "M25"), _code(300, 350, "Y50"), _code(200, 30, "Y25"))
    assert matched(page, codes) == {0: 0, 1: 1}
    seen = count(page, codes, matched(page, codes))
    assert (seen["marks"], seen["found"], seen["no code"]) == (3, 2, 2)
    assert (seen["right"], seen["sure"], seen["sure right"]) == (1, 2, 1)


def test_the_way_is_measured_to_the_box_and_a_fade_is_no_false_code() -> None:
    page = _page([_mark(150, 100, "C50")], [_mark(300, 300, "M50", gradient={"code1": "M50"})])
    codes = (_code(100, 100, "C50"), _code(290, 300, "M50"))
    assert matched(page, codes) == {0: 0}
    assert page.away(page.marks, codes)[0, 0] == (150 - 100 - 30) / 5
    assert count(page, codes, {0: 0})["no code"] == 0


def test_things_are_parts_of_their_panel_and_figures_of_the_page() -> None:
    page = _page([_mark(1, 1, "C50"), _mark(1, 1, "M50", figure="bg", part="sky", panel=2)])
    bible = cast([page])
    assert [(one.part, one.code) for one in bible.parts] == [("7 fig1 coat", "C50"), ("7 panel 2 sky", "M50")]
    assert [subject.kind for subject in bible.subjects] == ["character", "place"]
