"""Whose part a code is, on pages of another family than the one its numbers were chosen on."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bible.colour.notation import LETTERS_64
from bible.colour.tints import Tint
from guides.imaging.writing.bible_file import EarlierMark, bible_from_json
from guides.imaging.writing.clues import Clue, Doubt, agree, smallness
from guides.imaging.writing.figures import IN_FIGURE, DressedSubject, PanelCodes, find_look
from guides.imaging.writing.parts import find_parts, nobodys, weighed_by_bible
from guides.imaging.writing.poses import FigureLayout
from tests.guides.imaging.writing.crowded_pages import make_bible, make_page

PANEL = np.array([[0.0, 0.0, 500.0, 500.0]])
HEIGHTS = {"hair": 60, "face": 90, "coat": 220, "trousers": 350, "boots": 450}


def make_figures(**codes: str) -> dict[str, Any]:
    """A BIBLE.json of two people with the same parts; ``codes`` overrides those of the second."""
    one = {"hair": "YR3", "face": "Y2R2", "coat": "R2B", "trousers": "YB3", "boots": "R3B3"}
    two = {"hair": "B3", "face": "YR3B2", "coat": "YB", "trousers": "R3", "boots": "Y2B3"} | codes
    subjects = [
        {
            "id": name,
            "name": name,
            "kind": "character",
            "costumes": [
                {
                    "id": name,
                    "name": "",
                    "parts": [
                        {"id": f"{name} {part}", "name": part, "roles": {"base": code}} for part, code in held.items()
                    ],
                }
            ],
        }
        for name, held in (("one", one), ("two", two))
    ]
    return {"notation": "letters", "subjects": subjects}


def clue(code: str, x: float, y: float, area: int, paint: str = "") -> Clue:
    painted = ((LETTERS_64.read(paint or code), 0.9),)
    return Clue(x, y, area, 0, ((LETTERS_64.read(code), 0.97),), painted, 45.0)


def standing(document: dict[str, Any], who: int, x: float, first: int, **codes: str) -> list[Clue]:
    """All parts of a person, at their places; ``codes`` are written instead of the bible's, over the right paint."""
    parts = document["subjects"][who]["costumes"][0]["parts"]
    return [
        clue(codes.get(p["name"], p["roles"]["base"]), x, HEIGHTS[p["name"]], first + k, p["roles"]["base"])
        for k, p in enumerate(parts)
    ]


def test_two_people_side_by_side_are_told_apart() -> None:
    document = make_figures()
    clues = [*standing(document, 0, 150, 1), *standing(document, 1, 350, 6)]
    found = find_parts(clues, PANEL, set(), bible_from_json(document))
    assert [b.part for b in found] == [f"{who} {part}" for who in ("one", "two") for part in HEIGHTS]
    assert not any(b.differs for b in found)


def test_a_wrong_code_is_not_explained_away_by_somebody_else_who_carries_it() -> None:
    """The coat of the first carries the other's coat code, painted so too; the other is not in the panel."""
    document = make_figures(coat="R3B")
    clues = standing(document, 0, 150, 1)
    clues[2] = clue("R3B", 150, HEIGHTS["coat"], 3)
    touching = {(1, 2), (2, 3), (3, 4), (4, 5)}
    found = find_parts(clues, PANEL, touching, bible_from_json(document))
    assert found[2].part == "one coat"
    assert found[2].differs
    assert found[2].expected == "R2B"
    assert [other.part for other in found[2].elsewhere] == ["two coat"]
    assert [b.differs for b in found] == [False, False, True, False, False]


@pytest.mark.parametrize(
    ("x", "read", "first", "differs"),
    [
        (120.0, 0.97, "one coat", True),
        (180.0, 0.97, "one coat", True),
        (205.0, 0.6, "two coat", False),
        (240.0, 0.97, "two coat", False),
    ],
    ids=["over its own person", "between them", "between them, hardly read", "at the other person"],
)
def test_a_code_that_two_parts_want_is_told_as_wrong_unless_the_one_that_carries_it_is_far_likelier(
    x: float, read: float, first: str, differs: bool
) -> None:
    """Two people side by side without their coats' codes, and one code, carried by the second's coat, between them."""
    document = make_figures(coat="R3B")
    one, two = standing(document, 0, 120, 1), standing(document, 1, 380, 20)
    code = Clue(x, HEIGHTS["coat"], 3, 0, ((LETTERS_64.read("R3B"), read),), (), 45.0)
    people = [*one[:2], *one[3:], *two[:2], *two[3:]]
    found = find_parts([code, *people], PANEL, set(), bible_from_json(document))[0]
    assert (found.part, found.differs) == (first, differs)
    assert {"one coat", "two coat"} <= {told.part for told in found.alternatives}
    assert found.p == next(told.p for told in found.alternatives if told.part == first) < 0.9
    if differs:
        assert found.elsewhere[0].part == "two coat"


def in_doubt(first: Clue, other: Clue, odds: float) -> Clue:
    return replace(first, doubts=(Doubt(other, odds),))


def test_a_wrong_code_is_not_led_to_a_neighbour_that_happens_to_be_painted_as_it_is_written() -> None:
    """The wall behind the coat is painted as the coat's code is miswritten: the part missing there says which it is."""
    document = make_figures()
    clues = standing(document, 0, 150, 1)
    own, wall = clue("YB", 150, 220, 3, "R2B"), clue("YB", 150, 235, 9)
    clues[2] = in_doubt(wall, own, -2.0)
    found = find_parts(clues, PANEL, set(), bible_from_json(document))
    assert (found[2].part, found[2].differs) == ("one coat", True)
    assert [area for area, _ in found[2].areas] == [3, 9]
    assert not any(b.differs for place, b in enumerate(found) if place != 2)


def test_a_right_code_stays_with_the_area_that_is_painted_as_it_is_written() -> None:
    document = make_figures()
    clues = standing(document, 0, 150, 1)
    clues[2] = in_doubt(clues[2], clue("R2B", 170, 235, 9, "YR"), -1.0)
    found = find_parts(clues, PANEL, set(), bible_from_json(document))
    assert (found[2].part, found[2].differs, found[2].areas[0][0]) == ("one coat", False, 3)
    assert sum(p for _, p in found[2].areas) == pytest.approx(1.0)
    assert found[0].areas == ()


def test_a_doubt_that_is_out_of_the_question_changes_nothing() -> None:
    document = make_figures()
    clues = [*standing(document, 0, 150, 1), *standing(document, 1, 350, 6)]
    plain = find_parts(clues, PANEL, set(), bible_from_json(document))
    doubted = [in_doubt(one, clue("YR2B2", one.x, 480, 20 + k), -60.0) for k, one in enumerate(clues)]
    told = find_parts(doubted, PANEL, set(), bible_from_json(document))
    for before, after in zip(plain, told, strict=True):
        assert (after.part, after.differs) == (before.part, before.differs)
        assert after.p == pytest.approx(before.p, abs=2e-4)


def test_parts_that_carry_the_code_are_told_however_unlikely() -> None:
    """Somebody else's boots: they are far from being the first, and nobody need type them."""
    document = make_figures(boots="R2B")
    found = find_parts(standing(document, 0, 150, 1), PANEL, set(), bible_from_json(document))
    assert (found[2].part, [one.part for one in found[2].elsewhere]) == ("one coat", ["two boots"])
    assert not found[2].differs
    lone = find_parts([clue("R2B", 250, 20, 1)], PANEL, set(), bible_from_json(document))
    assert {"one coat", "two boots"} <= {one.part for one in (*lone[0].alternatives, *lone[0].elsewhere)}


def test_a_code_that_fits_nothing_is_asked_about_its_place_before_anybody_elses_part() -> None:
    document = make_figures()
    clues = standing(document, 0, 150, 1)
    clues[2] = clue("YB", 150, HEIGHTS["coat"], 3)
    found = find_parts(clues, PANEL, {(1, 2), (2, 3), (3, 4), (4, 5)}, bible_from_json(document))
    named = [one.part for one in found[2].alternatives if one.part is not None]
    assert named[0] == "one coat"


def test_a_slip_over_right_paint_stays_with_its_part_beside_the_other_person() -> None:
    document = make_figures()
    clues = [*standing(document, 0, 150, 1, trousers="YB2"), *standing(document, 1, 350, 6)]
    found = find_parts(clues, PANEL, set(), bible_from_json(document))
    assert (found[3].part, found[3].differs, found[3].expected) == ("one trousers", True, "YB3")


def test_a_code_does_not_vouch_for_the_figure_that_stands_where_it_would_have_to() -> None:
    """One code anywhere in a panel gains no more than it would in a figure that stands there as figures usually do."""
    layout = FigureLayout(np.array([0.05, 0.92]), np.array([0.05, 0.06]), np.array([0.085, 0.085]))
    look = DressedSubject(0, 0, np.array([0, 1]), layout, np.array([0, 1]), is_place=False, parts=2)
    scene = PanelCodes(PANEL[0], np.array([[470.0, 20.0]]), np.array([[4.0, -5.0]]), np.eye(1) > 1, np.zeros(1))
    figure = find_look(scene, look, np.zeros(1))
    assert figure is not None
    assert figure.gain == pytest.approx(scene.usual_gain(look)[0, 0] - look.bare)


def test_two_parts_of_one_code_are_told_apart_by_where_they_lie() -> None:
    document = make_figures(hair="Y", boots="Y")
    clues = standing(document, 1, 250, 1)
    found = find_parts(clues, PANEL, set(), bible_from_json(document))
    assert [found[0].part, found[4].part] == ["two hair", "two boots"]


def test_a_cast_is_believed() -> None:
    """Two people with the same codes all over: only what a person said can tell them apart."""
    document = make_figures()
    for part, other in zip(*(s["costumes"][0]["parts"] for s in document["subjects"]), strict=True):
        other["roles"] = dict(part["roles"])
    clues = standing(document, 1, 250, 1)
    for cast in ("one", "two"):
        found = find_parts(clues, PANEL, set(), bible_from_json(document), cast={cast})
        assert {str(b.part).split()[0] for b in found} == {cast}
        assert min(b.p for b in found) > 0.9
    unsaid = find_parts(clues, PANEL, set(), bible_from_json(document))
    assert max(b.p for b in unsaid) < 0.6


def test_who_was_on_the_page_before_is_likelier() -> None:
    document = make_figures()
    for part, other in zip(*(s["costumes"][0]["parts"] for s in document["subjects"]), strict=True):
        other["roles"] = dict(part["roles"])
    bible = bible_from_json(document)
    before = [EarlierMark("9", 10.0, 10.0 * k, None, f"two {part}", "base") for k, part in enumerate(HEIGHTS)]
    found = find_parts(standing(document, 0, 250, 1), PANEL, set(), bible, earlier=before)
    assert {str(b.part).split()[0] for b in found} == {"two"}


def test_a_costume_out_of_use_is_seldom_worn_and_known_where_it_is() -> None:
    document = make_figures()
    one, two = (subject["costumes"][0] for subject in document["subjects"])
    for part, other in zip(one["parts"], two["parts"], strict=True):
        other["roles"] = dict(part["roles"])
    two["in_use"] = False
    bible = bible_from_json(document)
    assert bible.out_of_use == {1}
    found = find_parts(standing(document, 0, 250, 1), PANEL, set(), bible)
    assert {str(b.part).split()[0] for b in found} == {"one"}
    alone = make_figures()
    alone["subjects"][1]["costumes"][0]["in_use"] = False
    found = find_parts(standing(alone, 1, 250, 1), PANEL, set(), bible_from_json(alone))
    assert {str(b.part).split()[0] for b in found} == {"two"}


def test_codes_without_anybody_are_nobodys() -> None:
    document = make_figures()
    clues = [clue("RB", 100, 100, 1), clue("Y3R3B3", 400, 450, 2)]
    found = find_parts(clues, PANEL, set(), bible_from_json(document))
    assert [b.part for b in found] == [None, None]
    assert [b.expected for b in found] == [None, None]


def test_an_unread_code_is_given_to_its_part_by_its_place_and_paint() -> None:
    document = make_figures()
    clues = standing(document, 0, 250, 1)
    clues[2] = Clue(250, HEIGHTS["coat"], 3, 0, (), clues[2].paint, 45.0)
    found = find_parts(clues, PANEL, set(), bible_from_json(document))
    assert (found[2].part, found[2].differs) == ("one coat", False)


def test_nothing_to_ask_is_no_answer() -> None:
    assert find_parts([], PANEL, set(), bible_from_json(make_figures())) == []
    empty = bible_from_json({"subjects": []})
    assert [b.part for b in find_parts([clue("Y", 10, 10, 1)], PANEL, set(), empty)] == [None]


def test_chances_add_up_and_come_in_order() -> None:
    document = make_figures()
    for belonging in find_parts(standing(document, 0, 250, 1), PANEL, set(), bible_from_json(document)):
        chances = [one.p for one in belonging.alternatives]
        assert chances == sorted(chances, reverse=True)
        assert sum(chances) <= 1.001


def test_right_code_and_paint_speak_for_a_part_and_a_slip_less() -> None:
    right, slip, far = (LETTERS_64.read(code) for code in ("YR2", "YR3", "B3"))
    agreement = agree([clue("YR2", 0, 0, 1)], [right, slip, far])
    gain = agreement.gain[0]
    assert gain[agreement.tints[right]] > 3.0
    assert gain[agreement.tints[right]] > gain[agreement.tints[slip]] > gain[agreement.tints[far]]


def test_broad_areas_speak_for_background() -> None:
    small, broad, unknown = smallness(np.array([0.05, 0.6, 0.0]))
    assert small > 0 > broad
    assert unknown == 0


def test_a_house_that_marks_no_background_has_fewer_codes_that_are_nobodys() -> None:
    kept = [EarlierMark("1", 0.0, 0.0, None, "part", "base")] * 300
    loose = [EarlierMark("1", 0.0, 0.0, None, None, "base")] * 300
    assert nobodys(kept) < nobodys(()) < nobodys(loose)
    assert nobodys(()) == pytest.approx(IN_FIGURE)


def test_the_bible_weighs_in_but_a_clear_wrong_code_stays_wrong() -> None:
    wrong, right = Tint(0, 50, 50), Tint(0, 25, 50)
    assert weighed_by_bible(((wrong, 0.5), (right, 0.4)), right, 0.95)[0][0] == right
    assert weighed_by_bible(((wrong, 0.93), (right, 0.05)), right, 0.95)[0][0] == wrong
    assert sum(p for _, p in weighed_by_bible(((wrong, 0.5), (right, 0.4)), right, 0.95)) == pytest.approx(0.9)


@pytest.mark.parametrize("unsure", [0.0, 0.15])
def test_pages_of_another_family_are_told_honestly(unsure: float) -> None:
    """Crowded pages with 7 % wrong codes: first and sure ones right, wrong codes flagged on their own part."""
    right, sure, sure_right, wrong, flagged = [], [], [], [], []
    for seed in range(4):
        rng = np.random.default_rng(seed)
        document = make_bible(rng)
        page = make_page(rng, document, unsure=unsure)
        found = find_parts(page.clues, page.panels, page.touching, bible_from_json(document))
        for belonging, part, is_wrong in zip(found, page.parts, page.wrong, strict=True):
            hit = belonging.part == part
            right.append(hit)
            sure.append(belonging.p >= 0.9)
            sure_right += [hit] if belonging.p >= 0.9 else []
            wrong.append(is_wrong)
            flagged.append(is_wrong and hit and belonging.differs)
    assert np.mean(right) > 0.85
    assert np.mean(sure) > 0.5
    assert np.mean(sure_right) > 0.92
    assert sum(flagged) >= 0.4 * sum(wrong)


def test_a_code_of_a_panel_that_is_gone_is_answered_without_a_part() -> None:
    """A page looked through again may have fewer panels than the codes that were answered before speak of."""
    document = make_figures()
    here = standing(document, 0, 250, 1)
    stray = replace(here[0], panel=len(PANEL))
    belongings = find_parts([*here, stray], PANEL, set(), bible_from_json(document))
    assert len(belongings) == len(here) + 1
    assert belongings[-1].p == 0
    assert [told.part for told in belongings[:-1]] == [
        told.part for told in find_parts(here, PANEL, set(), bible_from_json(document))
    ]
