"""What a code points at, and what a whole page proposes, on a page that is known to the pixel."""

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from guides.imaging.page.page_map import PageMap
from guides.imaging.page.reading import read_page_map
from guides.imaging.writing.bible_file import bible_from_json
from guides.imaging.writing.page_panels import find_panels
from guides.imaging.writing.pointing import PointedAt, Pointing, point, shared_out
from guides.imaging.writing.proposals import propose
from tests.guides.imaging.writing.coded_page import CodedPage, make_coded_page


@cache
def looked_at() -> tuple[CodedPage, PageMap]:
    page = make_coded_page()
    return page, read_page_map(page.image)


def test_codes_are_followed_to_what_they_mean() -> None:
    page, page_map = looked_at()
    found = point(page_map, page.image, [code.place.corners() for code in page.codes])
    meant = [page_map.area_at(*place) for place in page.meant]
    assert None not in meant
    hits = {
        code.text: at.best.area == area.id
        for code, at, area in zip(page.codes, found, meant, strict=True)
        if area is not None
    }
    missed = [text for text, hit in hits.items() if not hit]
    assert missed in ([], ["RB3"])


def test_a_long_arrow_from_the_margin_leads_to_one_of_the_first_two() -> None:
    """Twelve heights of letters through another area: one in four such arrows was lost on painted scenes."""
    page, page_map = looked_at()
    number = [code.text for code in page.codes].index("RB3")
    at = point(page_map, page.image, [code.place.corners() for code in page.codes])[number]
    meant = page_map.area_at(*page.meant[number])
    assert meant is not None
    assert meant.id in [choice.area for choice in at.choices[:2]]


def test_a_line_is_told_from_what_lies_under_a_code() -> None:
    page, page_map = looked_at()
    found = point(page_map, page.image, [code.place.corners() for code in page.codes])
    hows = {code.text: at.best.how for code, at in zip(page.codes, found, strict=True)}
    assert hows["R3"] == hows["RB3"] == "line"
    assert hows["YR2"] == "inside"


def test_chances_of_a_code_are_told_once_an_area_and_add_up() -> None:
    page, page_map = looked_at()
    for at in point(page_map, page.image, [code.place.corners() for code in page.codes]):
        areas = [choice.area for choice in at.choices]
        assert len(areas) == len(set(areas))
        assert abs(sum(choice.p for choice in at.choices) - 1) < 1e-6
        assert [c.p for c in at.choices] == sorted((c.p for c in at.choices), reverse=True)


def test_a_code_off_the_page_means_no_area_and_breaks_nothing() -> None:
    page, page_map = looked_at()
    far = np.array([(5000, 5000), (5060, 5000), (5060, 5020), (5000, 5020)], float)
    dot = np.full((4, 2), 300.0)
    off, small = point(page_map, page.image, [far, dot])
    assert (off.best.area, off.best.how) == (0, "nearest")
    assert small.best.area > 0


def test_paint_turns_a_doubtful_pointing() -> None:
    choices = (Pointing(1, 1, 7, "inside", 0.6), Pointing(9, 9, 8, "line", 0.4))
    turned = PointedAt(choices).reweighed({7: 0.01, 8: 0.9})
    assert (turned.best.area, turned.best.how) == (8, "line")
    assert PointedAt(choices).reweighed({}).best.area == 7


def _between(*chances: tuple[int, float]) -> PointedAt:
    return PointedAt(tuple(Pointing(area, area, area, "line", p) for area, p in chances))


def test_what_else_is_known_of_areas_moves_only_what_these_had() -> None:
    told = _between((7, 0.6), (8, 0.3), (9, 0.1)).led_to([(9, 0.75), (7, 0.25)])
    assert [choice.area for choice in told.choices] == [9, 8, 7]
    assert [choice.p for choice in told.choices] == pytest.approx([0.525, 0.3, 0.175])
    assert _between((7, 1.0)).led_to([]) == _between((7, 1.0))


def test_an_area_that_one_code_surely_means_is_left_to_it() -> None:
    """An area is seldom coded twice (common practice, no source)."""
    sure, torn = shared_out([_between((7, 0.98), (8, 0.02)), _between((7, 0.55), (8, 0.45))])
    assert (sure.best.area, torn.best.area) == (7, 8)
    assert abs(sum(choice.p for choice in torn.choices) - 1) < 1e-9
    assert [at.best.area for at in shared_out([_between((7, 0.55), (8, 0.45))])] == [7]


def test_two_codes_in_a_row_over_one_area_both_mean_it() -> None:
    row = shared_out([_between((7, 0.95), (8, 0.05)), _between((7, 0.95), (8, 0.05))])
    assert [at.best.area for at in row] == [7, 7]


def test_codes_off_every_area_keep_nobody_away() -> None:
    lost = _between((0, 1.0))
    assert shared_out([lost, lost]) == [lost, lost]
    assert shared_out([]) == []


def test_panels_are_held_apart_by_the_gutter() -> None:
    _, page_map = looked_at()
    panels = find_panels(page_map)
    assert len(panels.boxes) == 2
    upper, lower = (page_map.area_at(*place) for place in ((280, 200), (630, 900)))
    assert upper is not None
    assert lower is not None
    assert panels.of_area[upper.id] != panels.of_area[lower.id]
    assert panels.at(280, 200) == panels.of_area[upper.id]


BIBLE = {
    "notation": "letters",
    "subjects": [
        {
            "id": "box",
            "name": "Box",
            "kind": "prop",
            "costumes": [
                {
                    "id": "c",
                    "name": "as drawn",
                    "parts": [
                        {"id": 1, "name": "lid", "roles": {"base": "YR2"}},
                        {"id": 2, "name": "front", "roles": {"base": "B3"}},
                        {"id": 3, "name": "foot", "roles": {"base": "YB"}},
                    ],
                }
            ],
        }
    ],
}


def test_a_page_proposes_marks_as_json() -> None:
    page, page_map = looked_at()
    told = propose(page_map, page.image, page.codes, bible=bible_from_json(BIBLE), cast=["box"])
    rows = json.loads(json.dumps([one.as_json() for one in told]))
    first = rows[0]
    assert first["code"] == "YR2"
    assert page_map.area_at(*first["point"]) == page_map.areas[first["area"] - 1]
    assert (first["part"], first["role"], first["differs"]) == (1, "base", None)
    assert first["part_alternatives"][0]["p"] == first["p_part"]
    assert {"box", "text", "p", "alternatives", "unreadable", "point", "area"} <= set(first)


def test_without_a_bible_no_part_is_named() -> None:
    page, page_map = looked_at()
    rows = [one.as_json() for one in propose(page_map, page.image, page.codes)]
    assert {row["part"] for row in rows} == {None}
    assert all(row["part_alternatives"] == [] for row in rows)


def test_what_is_crossed_out_or_unreadable_is_told_and_not_given_away() -> None:
    page, page_map = looked_at()
    codes = [replace(page.codes[0], crossed_out=True), replace(page.codes[1], unreadable=True), *page.codes[2:]]
    told = propose(page_map, page.image, codes, bible=bible_from_json(BIBLE))
    crossed, unread = told[0].as_json(), told[1].as_json()
    assert (crossed["crossed_out"], crossed["part"]) == (True, None)
    assert (unread["code"], unread["p"], unread["unreadable"], unread["differs"]) == (None, 0.0, True, None)


def test_a_page_without_codes_proposes_nothing() -> None:
    page, page_map = looked_at()
    assert propose(page_map, page.image, [], bible=bible_from_json(BIBLE)) == []
