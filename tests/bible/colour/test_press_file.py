"""The text file of a condition: exact there and back, strict, and traceable to its data."""

from __future__ import annotations

import numpy as np
import pytest

from bible.colour import press
from bible.colour.cgats import CharacterizationData
from bible.colour.pressfile import MAX_BYTES, PressFileError, dumps, loads
from bible.colour.pressfit import fit


@pytest.fixture(scope="module")
def text() -> str:
    return (press.PRESS_DATA / "newsprint.press").read_text(encoding="utf-8")


def test_shipped_files_are_fits_of_the_published_data(shipped: tuple[str, CharacterizationData]) -> None:
    name, data = shipped
    condition = press.load(name)
    again = fit(
        data,
        name=condition.name,
        title=condition.title,
        source=condition.source,
        paper=condition.paper,
        ruling_lpi=condition.ruling_lpi,
        angles=condition.angles,
    )
    assert dumps(again) == (press.PRESS_DATA / f"{name}.press").read_text(encoding="utf-8")


def test_there_and_back_changes_nothing(text: str) -> None:
    condition = loads(text)
    assert dumps(condition) == text
    fitted = press.load("newsprint")
    tints = np.random.default_rng(0).uniform(0, 100, (500, 4))
    np.testing.assert_array_equal(condition.xyz(tints), fitted.xyz(tints))
    assert condition.info == fitted.info
    assert condition.angles == {"c": 105.0, "m": 75.0, "y": 90.0, "k": 45.0}
    assert condition.ruling_lpi == 65.0
    assert loads(text) is condition  # remembered, so that its swatches are


def test_line_ends_and_blank_lines_do_not_matter(text: str) -> None:
    assert dumps(loads(text.replace("\n", "\r\n\r\n"))) == text


def test_the_file_is_small_and_says_where_it_comes_from(text: str) -> None:
    assert len(text) < 50_000
    assert "ANSI CGATS/SNAP TR 002-2007" in text


def line_of(text: str, start: str) -> int:
    return next(number for number, line in enumerate(text.splitlines(), 1) if line.startswith(start))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("press condition, format 1", "press condition, format 2", "first line"),
        ("name: newsprint", "name: News Print", "lower-case"),
        ("name: newsprint", "name: ../etc", "lower-case"),
        ("source:", "sauce:", "'source: …' is expected"),
        ("paper: newsprint", "paper:", "'paper: …' is expected"),
        ("ruling lpi: 65", "ruling lpi: fine", "not a number"),
        ("angles: C 105 M 75", "angles: C 105 75", "angles read"),
        ("angles: C 105", "angles: C 1050", "not a number from -360 to 360"),
        ("levels C: 0 20 40 70 100", "levels C: 0 20 20 70 100", "rise"),
        ("levels C: 0 20 40 70 100", "levels C: 20 40 70 100", "rise"),
        ("levels C: 0 20 40 70 100", "levels C: 0 20.5 100", "whole percentages"),
        ("levels K: 0 20", "levels K: 0 5 10 15 20 25 30 35 36 37", "at most"),
        ("C 50 ", "C 51 ", "tone of C at 50 % is expected"),
        ("M 7 0.", "M 7 9.", "not a number from 0 to 1"),
        ("Y 60 0.", "Y 60 0.0000", "falls"),
        ("K 100 1.00000", "K 100 0.99999", "falls|from 0 to 1"),
        ("20 40 70 60 ", "20 40 70 61 ", "node 20 40 70 60 is expected"),
        ("20 40 70 60 ", "20 40 70 60 nan ", "node 20 40 70 60 is expected"),
        ("0 0 0 0 5", "0 0 0 0 -5", "not a number from 0 to 200"),
    ],
)
def test_faults_name_their_line(text: str, old: str, new: str, words: str) -> None:
    assert text.count("\n" + old) == 1 or text.startswith(old)
    bad = new + text[len(old) :] if text.startswith(old) else text.replace("\n" + old, "\n" + new)
    with pytest.raises(PressFileError, match=words) as caught:
        loads(bad)
    assert caught.value.line == line_of(text, old)


@pytest.mark.parametrize("keep", [0.0, 0.02, 0.3, 0.99])
def test_a_file_cut_short_is_refused(text: str, keep: float) -> None:
    lines = text.splitlines()
    with pytest.raises(PressFileError):
        loads("\n".join(lines[: int(len(lines) * keep)]))


def test_more_after_the_end_and_sheer_size_are_refused(text: str) -> None:
    with pytest.raises(PressFileError, match="nothing after"):
        loads(text + "0 0 0 0 1 2 3\n")
    with pytest.raises(PressFileError, match="too long"):
        loads(text + "\n" * MAX_BYTES)
