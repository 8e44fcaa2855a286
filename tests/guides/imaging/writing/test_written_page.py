"""Whole pages: what is found and read, and what is said of pages that are not as they should be."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage

from guides.imaging.writing import Lexicon, WritingModelError, models, read_page, read_writing
from guides.training.judging import Tally
from tests.guides.imaging.writing.written_pages import LETTERS, PERCENT, page_of, paper, plain_page, scene, write_line


@pytest.mark.parametrize(("form", "lexicon"), [("letters", LETTERS), ("percent", PERCENT)])
def test_codes_of_hands_nobody_learnt_from_are_found_and_read(form: str, lexicon: Lexicon) -> None:
    tally = Tally()
    for seed in (3, 4, 5):
        page, words = page_of(form, seed)
        tally.add(words, read_page(page, lexicon).codes, form)
    assert tally.codes > 60
    assert tally.found / tally.codes > 0.92
    assert tally.given_codes / tally.given > 0.92
    assert tally.right / tally.found > 0.85
    assert tally.among_three / tally.found > 0.92
    assert tally.sure_right / tally.sure > 0.96
    assert tally.sure / tally.found > 0.4


def test_codes_lie_where_they_were_written_and_are_turned_as_they_were() -> None:
    page, words = plain_page("letters", 1)
    found = read_writing(page, LETTERS)
    assert len(found) >= len(words) - 1
    turns = []
    for code in found:
        nearest = min(words, key=lambda word: np.hypot(word.place.x - code.place.x, word.place.y - code.place.y))
        assert np.hypot(nearest.place.x - code.place.x, nearest.place.y - code.place.y) < 6
        turns.append(abs(np.degrees(nearest.place.turn) - code.angle))
        left, top, right, bottom = code.box
        assert left < nearest.place.x < right
        assert top < nearest.place.y < bottom
    assert np.median(turns) < 4
    assert np.percentile(turns, 85) < 8


def test_a_scan_four_times_as_large_says_the_same() -> None:
    page, _ = plain_page("letters", 3)
    small = read_writing(page, LETTERS)
    large = read_writing(cv2.resize(page, None, fx=3, fy=3, interpolation=cv2.INTER_CUBIC), LETTERS)
    assert len(large) == len(small)
    same = [
        a.code == b.code and abs(a.place.x * 3 - b.place.x) < 20
        for a, b in zip(sorted(small, key=lambda c: c.place.x), sorted(large, key=lambda c: c.place.x), strict=True)
    ]
    assert np.mean(same) > 0.85


def test_chances_fall_and_add_up_to_no_more_than_one() -> None:
    page, _ = page_of("letters", 6)
    codes = read_writing(page, LETTERS)
    assert codes
    for code in codes:
        chances = [other.p for other in code.alternatives]
        assert chances == sorted(chances, reverse=True)
        assert sum(chances) <= 1.01
        assert code.unreadable or (code.code == code.alternatives[0].code and code.p == chances[0])


def test_a_page_without_writing_says_so() -> None:
    blank = read_page(paper(), LETTERS)
    assert blank.codes == ()
    assert blank.notes == ("No writing was found on this page.",)
    painted = read_page(scene(7), LETTERS)
    assert not [code for code in painted.codes if code.p > 0.8]


def test_lettering_and_notes_are_no_codes() -> None:
    page = paper()
    for row, line in enumerate(["THE BOAT IS LATE", "who took my lamp", "RIVER RISES", "hold same all pages"]):
        cv2.ellipse(page, (400, 200 + row * 260), (330, 90), 0, 0, 360, (255, 255, 255), -1)
        cv2.ellipse(page, (400, 200 + row * 260), (330, 90), 0, 0, 360, (20, 20, 20), 2, cv2.LINE_AA)
        write_line(page, line.split(), 140, 200 + row * 260, 26, row)
    writing = read_page(page, LETTERS)
    assert not [code for code in writing.codes if code.p > 0.8]
    assert len(writing.codes) <= 1
    assert len(writing.others) >= 8
    if not writing.codes:
        assert writing.notes == ("There is writing on this page, but no code.",)


def test_printed_text_of_a_real_scan_is_no_codes() -> None:
    """scikit-image's scanned page of print (Moon, public domain): some words, no code."""
    scan = cv2.imread(str(Path(skimage.__file__).parent / "data" / "page.png"), cv2.IMREAD_COLOR)
    assert not [code for code in read_writing(np.asarray(scan), LETTERS) if code.p > 0.8]


def test_a_page_on_its_head_is_noticed() -> None:
    page, _ = plain_page("percent", 3)
    upright, turned = read_page(page, PERCENT), read_page(np.ascontiguousarray(page[::-1, ::-1]), PERCENT)
    assert not upright.upside_down
    assert turned.upside_down
    assert turned.notes == ("This page seems to lie upside down: turn it and read it again.",)


def test_codes_in_the_other_notation_are_told_in_words() -> None:
    page, _ = plain_page("percent", 4)
    (note,) = read_page(page, LETTERS).notes
    assert note == "Most codes on this page are written as percentages; this series writes letters and figures."
    page, _ = plain_page("letters", 4)
    (note,) = read_page(page, PERCENT).notes
    assert "letters and figures; this series writes percentages" in note


@pytest.mark.parametrize("shape", [(40, 40), (40, 40, 4), (0, 5, 3)])
def test_what_is_no_picture_is_refused(shape: tuple[int, ...]) -> None:
    with pytest.raises(ValueError, match="a page is an array"):
        read_page(np.zeros(shape, np.uint8), LETTERS)


@pytest.mark.parametrize("size", [(1, 1), (3, 500), (700, 2)])
def test_the_smallest_pictures_are_read_too(size: tuple[int, int]) -> None:
    assert read_page(np.full((*size, 3), 200, np.uint8), LETTERS).codes == ()


@pytest.mark.parametrize("name", ["finder.onnx.xz", "reader.onnx.xz", "weights.json"])
def test_a_missing_or_damaged_file_is_an_error_with_its_name(tmp_path: Path, name: str) -> None:
    for deed in ("damage", "remove"):
        folder = tmp_path / deed
        shutil.copytree(models.WEIGHTS, folder)
        assert set(models.checked(folder)) == set(models.FILES)
        if deed == "remove":
            (folder / name).unlink()
        else:
            data = bytearray((folder / name).read_bytes())
            data[len(data) // 2] ^= 0xFF
            (folder / name).write_bytes(data[: len(data) - 7])
        with pytest.raises(WritingModelError, match=name):
            read_page(paper(60, 60), LETTERS, folder)


def test_reading_needs_neither_django_nor_what_teaches() -> None:
    program = "import sys, guides.imaging.writing; print(*sys.modules)"
    told = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True).stdout.split()
    assert "cv2" in told
    assert not {"django", "torch", "onnx", "skimage", "fontTools"} & {name.split(".")[0] for name in told}
    assert not [name for name in told if name.startswith("guides.training")]


def test_the_networks_weigh_no_more_than_they_may() -> None:
    assert sum((models.WEIGHTS / name).stat().st_size for name in models.FILES) < 6_000_000
