"""Codes and tints.

What codes mean (letter alone = solid, 3 = 50 %, 2 = 25 %, yellow first, W = paper, R4 ambiguous, and so on)
is common practice, no source. The round trips are held against a second writer and a second reader of this file's
own; which signs are digits and letters, against the Unicode database of Python.
"""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bible.colour.charts import CHART_64, CHART_125_70, CHART_125_75, Chart
from bible.colour.notation import (
    LETTERS_64,
    LETTERS_125_70,
    LETTERS_125_75,
    PERCENT,
    STANDARD_NOTATIONS,
    Notation,
    NotationError,
    Reason,
    percent_code,
)
from bible.colour.tints import INKS, PAPER, Tint
from tests.bible.colour.written import CMY, HALF_BLACK, KEYED, NOTATIONS, refused

percentages = st.integers(0, 100)
tints = st.builds(Tint, c=percentages, m=percentages, y=percentages, k=percentages)
WHITE = ["", " ", "  ", "\t", "\u00a0", "\u2009", "\u202f", "\n"]


@pytest.mark.parametrize("notation", NOTATIONS)
def test_every_code_begins_with_a_first_letter(notation: Notation) -> None:
    """And each of them begins one."""
    assert {notation.write(tint)[0] for tint in [*CHART_64.tints, PAPER]} <= set(notation.first_letters)
    begun = ["", "100", *dict(notation.steps)]
    alone = [
        letter for letter in notation.first_letters if not any(_reads(notation, letter + rest) for rest in begun)
    ]
    aliased = {alias[0] for alias, _ in notation.aliases}
    assert set(alone) <= aliased


def _reads(notation: Notation, text: str) -> bool:
    try:
        notation.read(text)
    except NotationError:
        return False
    return True


@pytest.mark.parametrize(
    ("code", "tint"),
    [
        ("YR3B2", Tint(c=25, m=50, y=100)),
        ("W", PAPER),
        ("RB3", Tint(c=50, m=100)),
        ("Y2R2", Tint(m=25, y=25)),  # a common light flesh
        ("YR3B2K", Tint(c=25, m=50, y=100, k=100)),
        ("Y3", Tint(y=50)),
        ("K", Tint(k=100)),
    ],
)
def test_letters_and_steps(code: str, tint: Tint) -> None:
    assert LETTERS_64.read(code) == tint


@pytest.mark.parametrize("text", ["yr3b2", "B2R3Y", "r3 y b2", " Y  R 3\tB\u00a02 ", "y\nR3\u202fb2"])
def test_order_case_and_space_do_not_matter(text: str) -> None:
    assert LETTERS_64.read(text, CHART_64) == Tint(c=25, m=50, y=100)
    assert LETTERS_64.write(LETTERS_64.read(text)) == "YR3B2"


@pytest.mark.parametrize(
    ("code", "tint"),
    [
        ("C25 M50 Y100", Tint(25, 50, 100)),
        ("y100m50c25", Tint(25, 50, 100)),
        ("C37 M12 Y80 K5", Tint(37, 12, 80, 5)),
        ("C0 M0 Y0 K5", Tint(k=5)),
        ("C0 M0 Y0 K0", PAPER),
        ("C0", PAPER),
        ("C 25 % M50%", Tint(25, 50)),
        ("C3", Tint(c=3)),
        ("K5", Tint(k=5)),
        ("Y100", Tint(y=100)),
        ("Y50", Tint(y=50)),
        ("Y25", Tint(y=25)),
        ("Y3%", Tint(y=3)),
        ("Y3 K5", Tint(y=3, k=5)),
        ("C05", Tint(c=5)),
    ],
)
@pytest.mark.parametrize("notation", STANDARD_NOTATIONS.values(), ids=STANDARD_NOTATIONS)
def test_percentages_read_as_written_in_every_notation(notation: Notation, code: str, tint: Tint) -> None:
    assert notation.read(code) == tint


def test_r4_is_an_error_until_the_series_says_what_it_means() -> None:
    error = refused("YR4", chart=CHART_64)
    assert (error.position, error.token, error.reason) == (1, "R4", Reason.UNKNOWN_STEP)
    assert {"YR", "YR3"} <= set(error.suggestions)
    assert set(error.suggestions[:2]) == {"YR", "YR3"}
    assert Notation(aliases=(("R4", 100),)).read("YR4", CHART_64) == Tint(m=100, y=100)
    assert Notation(aliases=(("R4", 75),)).read("YR4", CHART_125_75) == Tint(m=75, y=100)


def test_an_alias_is_read_but_never_written() -> None:
    notation = Notation(aliases=(("r 4", 100),))
    assert notation.aliases == (("R4", 100),)
    assert notation.write(notation.read("R4")) == "R"
    assert refused("B4", notation).reason is Reason.UNKNOWN_STEP


@pytest.mark.parametrize(
    ("notation", "chart", "size"),
    [(LETTERS_64, CHART_64, 64), (LETTERS_125_70, CHART_125_70, 125), (LETTERS_125_75, CHART_125_75, 125)],
)
def test_every_chart_tint_has_one_code_and_comes_back(notation: Notation, chart: Chart, size: int) -> None:
    letters = [notation.write(tint) for tint in chart.tints]
    percents = [percent_code(tint) for tint in chart.tints]
    assert len(set(letters)) == len(set(percents)) == size
    for code, percent, tint in zip(letters, percents, chart.tints, strict=True):
        assert re.fullmatch(r"W|(Y[237]?)?(R[237]?)?(B[237]?)?", code)
        assert notation.read(code, chart) == notation.read(percent, chart) == tint
        assert PERCENT.write(tint) == percent
        assert PERCENT.read(percent, chart) == tint


def by_hand(tint: Tint, notation: Notation) -> list[str] | None:
    """A second writer: the pieces of the code in letters, or None when a percentage has no figure."""
    figures, keys = ({percent: figure for figure, percent in s} for s in (notation.steps, notation.key_steps))
    pieces = []
    for ink, letter in zip(INKS, notation.letters, strict=True):
        percent = getattr(tint, ink)
        if percent and ink == "k":
            if percent != 100 and percent not in keys:
                return None
            pieces.append(letter + keys.get(percent, ""))
            continue
        if percent and percent not in figures:
            return None
        if percent:
            pieces.append(letter + figures[percent])
    return pieces or [notation.paper]


@given(st.sampled_from(NOTATIONS), st.data())
def test_letters_in_any_order_case_and_spacing(notation: Notation, data: st.DataObject) -> None:
    levels = st.sampled_from([0, *(percent for _, percent in notation.steps)])
    key = st.sampled_from([0, 100, *(percent for _, percent in notation.key_steps)])
    tint = data.draw(st.builds(Tint, c=levels, m=levels, y=levels, k=key))
    pieces = by_hand(tint, notation)
    assert pieces is not None
    signs = "".join(data.draw(st.permutations(pieces)))
    text = "".join(
        data.draw(st.sampled_from(WHITE)) + data.draw(st.sampled_from([sign, sign.lower()]))
        if not sign.isdigit() or place == 0 or not signs[place - 1].isdigit()
        else sign
        for place, sign in enumerate(signs)
    )
    assert notation.read(text) == tint


@given(tints, st.data())
@settings(max_examples=300)
def test_percentages_in_any_order_case_and_spacing(tint: Tint, data: st.DataObject) -> None:
    pieces = [f"{ink.upper()}{getattr(tint, ink)}" for ink in INKS]
    gap = st.sampled_from(WHITE)
    text = "".join(
        data.draw(gap)
        + data.draw(st.sampled_from([piece[0], piece[0].lower()]))
        + data.draw(gap)
        + piece[1:]
        + data.draw(st.sampled_from(["", "%", " %"]))
        for piece in data.draw(st.permutations(pieces))
    )
    for notation in STANDARD_NOTATIONS.values():
        assert notation.read(text) == tint


@given(st.sampled_from(NOTATIONS), tints)
@settings(max_examples=500)
def test_whatever_is_written_reads_back(notation: Notation, tint: Tint) -> None:
    code = notation.write(tint)
    assert notation.read(code) == tint
    assert notation.write(notation.read(code)) == code


@pytest.mark.parametrize("y", range(101))
def test_yellow_alone_is_never_mistaken_for_a_step(y: int) -> None:
    tint = Tint(y=y)
    assert LETTERS_64.read(percent_code(tint)) == PERCENT.read(percent_code(tint)) == tint


def test_a_series_that_codes_key_writes_it_beside_the_colours() -> None:
    """Letters and figures of a black of its own are ours, no source: the trade agrees on none."""
    chart = CHART_64.with_key(KEYED.key_levels)
    assert KEYED.read("k3 r y", chart) == Tint(m=100, y=100, k=50)
    assert KEYED.write(Tint(m=100, y=100, k=50)) == "YRK3"
    assert KEYED.read("K50", chart) == KEYED.read("K50%", chart) == KEYED.read("K3", chart) == Tint(k=50)
    assert KEYED.write(Tint(k=50)) == "K3"
    assert HALF_BLACK.write(Tint(m=25, k=50)) == "S50R2"
    assert {KEYED.read(KEYED.write(tint), chart) for tint in chart.tints} == set(chart.tints)


@pytest.mark.parametrize("text", ["K5", "YRK7", "YR3K50", "YK50"])
def test_a_figure_of_key_without_a_meaning_is_never_guessed(text: str) -> None:
    chart = CHART_64.with_key(KEYED.key_levels)
    error = refused(text, KEYED, chart)
    assert error.reason in {Reason.UNKNOWN_STEP, Reason.MIXED}
    assert all(KEYED.read(code, chart).k for code in error.suggestions)
    assert error.suggestions


def test_writing_falls_back_on_percentages_where_a_step_has_no_figure() -> None:
    assert LETTERS_64.write(Tint(c=37, y=100)) == "C37 Y100"
    assert LETTERS_64.write(Tint(y=100, k=50)) == "Y100 K50"
    assert LETTERS_64.write(Tint(y=3)) == "Y3%"
    assert PERCENT.write(PAPER) == "W"
    assert CMY.write(Tint(c=3, m=7)) == "C3% M7%"


def test_the_order_of_writing_is_the_series_own() -> None:
    assert Notation(order="CMYK").write(Tint(25, 50, 100, 100)) == "B2R3YK"
