"""Pages that are not as they should be: each gets an answer in words, and nothing is guessed."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from bible.colour.notation import Notation
from guides.imaging.writing import Lexicon, read_page, read_writing
from guides.imaging.writing.finder import drawn_on
from guides.imaging.writing.lying import holds_two_pages, turned_by
from guides.imaging.writing.models import models
from guides.imaging.writing.page import WrittenCode
from guides.imaging.writing.whole import read_whole
from tests.guides.imaging.writing.coded_page import make_coded_page
from tests.guides.imaging.writing.written_pages import LETTERS, Picture, paper, plain_page, scene, write_line


def two_on_a_scan(left: Picture, right: Picture) -> Picture:
    """Two pages side by side, each with its own margin."""
    margin = np.full((left.shape[0], round(0.04 * left.shape[1]), 3), (244, 240, 230), np.uint8)
    return np.concatenate([margin, left, margin, margin, right, margin], axis=1)


def test_a_page_on_its_side_is_noticed_either_way_and_put_right_by_what_is_said() -> None:
    page, words = plain_page("letters", 3)
    for quarters, degrees, side in ((1, 270, "right"), (3, 90, "left")):
        lying = np.ascontiguousarray(np.rot90(page, quarters))
        read = read_page(lying, LETTERS)
        assert read.turned == degrees
        (note,) = read.notes
        assert "on its side" in note
        assert f"to the {side}" in note
        righted = np.ascontiguousarray(np.rot90(lying, 1 if side == "left" else 3))
        assert len(read_page(righted, LETTERS).codes) > len(words) / 2


@pytest.mark.parametrize(
    ("read_well", "turned"), [({90: 9}, 90), ({270: 9, 180: 4}, 270), ({180: 9, 90: 4}, 180), ({}, 180)]
)
def test_a_page_on_its_side_is_not_called_upside_down(
    read_well: dict[int, int], turned: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Words that stand upright may read a little better upside down: what reads well some other way settles it."""
    monkeypatch.setattr("guides.imaging.writing.lying.lies_on_its_head", lambda *_: True)
    page = np.zeros((200, 300, 3), np.uint8)
    page[0, 0] = 255
    corners = {90: (-1, 0), 180: (-1, -1), 270: (0, -1)}  # where what was its left top lies then

    def reads(righted: Picture) -> int:
        return next(read_well.get(degrees, 0) for degrees, corner in corners.items() if righted[corner].any())

    assert turned_by(page, [], 0, LETTERS, models(), reads) == turned


def test_a_turned_page_proposes_nothing() -> None:
    page, _ = plain_page("letters", 3)
    for turned in (np.rot90(page, 2), np.rot90(page, 1)):
        whole = read_whole(np.ascontiguousarray(turned))
        assert whole.proposals == ()
        assert whole.turned != 0
        assert len(whole.notes) == 1


def test_an_upright_page_is_called_turned_by_nobody() -> None:
    for seed in (3, 4, 5):
        assert read_page(plain_page("letters", seed)[0], LETTERS).turned == 0
    broad = np.ascontiguousarray(plain_page("letters", 3)[0][:700])
    assert broad.shape[1] > broad.shape[0]
    assert read_page(broad, LETTERS).turned == 0
    assert read_page(np.ascontiguousarray(np.rot90(scene(7))), LETTERS).turned == 0


def test_two_pages_on_one_scan_are_said_and_both_are_read() -> None:
    left, right = make_coded_page(), make_coded_page()
    both = two_on_a_scan(left.image[:, 60:], right.image[:, 60:])
    read = read_page(both, LETTERS)
    assert read.notes[0].startswith("Two pages seem to lie side by side")
    assert sum(code.p > 0.8 for code in read.codes) > len(left.codes)
    assert read_whole(both).notes[0] == read.notes[0]


def test_one_page_is_not_taken_for_two() -> None:
    page = make_coded_page().image
    assert not holds_two_pages(page)
    strip = np.ascontiguousarray(np.concatenate([page[60:580, 90:850], page[60:580, 100:840]], axis=1))
    assert strip.shape[1] > 1.15 * strip.shape[0]
    assert not holds_two_pages(strip), "panels side by side with a narrow gutter"
    assert not holds_two_pages(paper(400, 900))
    assert not holds_two_pages(scene(5)[:600])
    assert not holds_two_pages(paper(3, 900))


def test_a_page_without_line_art_is_read_and_that_is_said() -> None:
    page, _ = plain_page("letters", 6)
    whole = read_whole(page)
    assert len(whole.proposals) > 10
    assert [note for note in whole.notes if "line art" in note or "painted" in note]
    assert all(note[0].isupper() and note.endswith(".") for note in whole.notes)


def test_a_page_that_is_all_lettering_proposes_no_code() -> None:
    page = paper()
    for row, line in enumerate(["WHERE IS THE LAMP", "not on the quay", "GO HOME AT ONCE", "never said that"]):
        write_line(page, line.split(), 140, 200 + row * 260, 26, row)
    whole = read_whole(page)
    assert not [one for one in whole.proposals if one.readings and one.readings[0].p > 0.8]
    if not whole.proposals:
        assert whole.notes == ("There is writing on this page, but no code.",)


def test_an_empty_page_proposes_nothing_and_says_so() -> None:
    whole = read_whole(paper(600, 420))
    assert (whole.proposals, whole.turned) == ((), 0)
    assert whole.notes == ("No writing was found on this page.",)


def test_codes_in_letters_that_the_series_has_not_are_told_in_words_and_not_guessed() -> None:
    page, _ = plain_page("letters", 4)
    foreign = Notation(letters="PQTK", paper="X")
    read = read_page(page, Lexicon.of(foreign))
    assert read.notes == ("Most codes on this page have letters that this series does not use.",)
    assert not [code for code in read.codes if code.p > 0.95]


def test_letters_that_the_series_has_not_are_noticed_whatever_the_odds_say(monkeypatch: pytest.MonkeyPatch) -> None:
    """Odds that hardly believe any word: what the note counts is what the finder takes for codes."""
    monkeypatch.setattr("guides.imaging.writing.page.IS_CODE", 0.9)
    page, _ = plain_page("letters", 4)
    read = read_page(page, Lexicon.of(Notation(letters="PQTK", paper="X")))
    assert len(read.codes) < 5
    assert read.notes == ("Most codes on this page have letters that this series does not use.",)
    assert read_page(page, LETTERS).notes == ()


def test_a_huge_blank_scan_does_no_harm() -> None:
    assert read_page(cv2.resize(paper(40, 60), (5200, 3600)), LETTERS).codes == ()


def test_bare_edges_of_a_page_are_left_out_and_nothing_that_is_drawn() -> None:
    page = np.full((800, 600, 3), 240, np.uint8)
    assert drawn_on(page) == (0, 0, 0, 0)
    cv2.line(page, (150, 300), (400, 560), (120, 110, 110), 1, cv2.LINE_AA)
    top, bottom, left, right = drawn_on(page)
    assert 0 < top <= 300 - 8
    assert 560 < bottom < 800
    assert 0 < left <= 150 - 8
    assert 400 < right < 600
    noisy = np.clip(page + np.random.default_rng(1).normal(0, 6, page.shape), 0, 255).astype(np.uint8)
    assert drawn_on(noisy)[0] <= 300
    page[[0, -1]] = 0
    page[:, [0, -1]] = 0
    assert drawn_on(page) == (0, 800, 0, 600)
    assert drawn_on(np.full((20, 20, 3), 9, np.uint8)) == (0, 20, 0, 20)


def test_words_keep_their_places_where_edges_are_left_out() -> None:
    page, _ = plain_page("letters", 13)
    inner = _clearly_codes(page)
    room = np.full((page.shape[0] + 200, page.shape[1] + 160, 3), page[0, 0], np.uint8)
    room[120 : 120 + page.shape[0], 90 : 90 + page.shape[1]] = page
    moved = [(code.place.x - 90, code.place.y - 120, code.code) for code in _clearly_codes(room)]
    assert abs(len(moved) - len(inner)) <= 1, "one may be at the edge of being clear"
    kept = [[there for x, y, there in moved if np.hypot(x - code.place.x, y - code.place.y) < 5] for code in inner]
    assert sum(not there for there in kept) <= 1
    assert sum(code.code not in there for code, there in zip(inner, kept, strict=True)) <= 2


def _clearly_codes(page: Picture) -> list[WrittenCode]:
    """Codes of a page but those at the edge of being none."""
    return [code for code in read_writing(page, LETTERS) if code.is_code > 0.8]
