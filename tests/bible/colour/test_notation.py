"""Codes and tints.

What codes mean (letter alone = solid, 3 = 50 %, 2 = 25 %, yellow first, W = paper, R4 ambiguous, and so on)
is common practice, no source. The round trips are held against a second writer and a second reader of this file's
own; which signs are digits and letters, against the Unicode database of Python.
"""

from __future__ import annotations

import json
import re
import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bible.colour.charts import CHART_64, CHART_125_70, CHART_125_75, STANDARD_CHARTS, Chart
from bible.colour.notation import (
    LETTERS_64,
    LETTERS_125_70,
    LETTERS_125_75,
    MAX_LENGTH,
    PERCENT,
    STANDARD_NOTATIONS,
    Notation,
    NotationError,
    Reason,
    percent_code,
)
from bible.colour.tints import INKS, PAPER, Tint

percentages = st.integers(0, 100)
tints = st.builds(Tint, c=percentages, m=percentages, y=percentages, k=percentages)
WHITE = ["", " ", "  ", "\t", "\u00a0", "\u2009", "\u202f", "\n"]

CMY = Notation(letters="CMYK")
GERMAN = Notation(letters="BRGS", order="ymck", steps=(("1", 25), ("2", 50), ("3", 75), ("4", 100)))
LONG_STEPS = Notation(letters="CMYK", steps=(("", 100), ("75", 75), ("5", 50), ("25", 25)))
KEYED = Notation(key_steps=(("", 100), ("3", 50), ("2", 25)))
HALF_BLACK = Notation(letters="BRGS", order="kymc", key_steps=(("50", 50),), aliases=(("S4", 50),))
NOTATIONS = [
    *STANDARD_NOTATIONS.values(),
    CMY,
    GERMAN,
    LONG_STEPS,
    KEYED,
    HALF_BLACK,
    Notation(aliases=(("R4", 100), ("Y1", 10))),
]


def refused(text: str, notation: Notation = LETTERS_64, chart: Chart | None = None) -> NotationError:
    with pytest.raises(NotationError) as caught:
        notation.read(text, chart)
    return caught.value


def outcome(notation: Notation, text: str, chart: Chart | None) -> tuple[Tint | None, NotationError | None]:
    try:
        return notation.read(text, chart), None
    except NotationError as error:
        return None, error


# What the trade writes (common practice, no source)


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


# Round trips


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


# Errors: where, what, why


@pytest.mark.parametrize(
    ("text", "position", "token", "reason"),
    [
        ("", 0, "", "nothing_there"),
        (" \t\u00a0", 0, "", "nothing_there"),
        ("YG3", 1, "G3", "unknown_letter"),
        ("ЯR3", 0, "Я", "unknown_letter"),
        ("YſR", 1, "ſ", "unknown_letter"),  # a long s is no S
        ("YR3-B2", 3, "-", "unknown_character"),
        ("YR３", 2, "３", "unknown_character"),  # a full-width digit
        ("Y²", 1, "²", "unknown_character"),
        ("R٣", 1, "٣", "unknown_character"),  # an Arabic-Indic digit
        ("Y\u200bR3", 1, "\u200b", "unknown_character"),
        ("%", 0, "%", "unknown_character"),
        ("C-5", 1, "-", "unknown_character"),
        ("C25%%", 4, "%", "unknown_character"),
        ("Y4", 0, "Y4", "step_not_on_chart"),
        ("Y R 4", 2, "R 4", "step_not_on_chart"),
        ("R50", 0, "R50", "step_not_on_chart"),
        ("Y100R50", 0, "Y100", "step_not_on_chart"),
        ("R3.5", 0, "R3.5", "step_not_on_chart"),
        ("W2", 0, "W2", "step_not_on_chart"),
        ("YR3Y2", 3, "Y2", "ink_given_twice"),
        ("C25 M50 c 30", 8, "c 30", "ink_given_twice"),
        ("WW", 1, "W", "ink_given_twice"),
        ("WY", 1, "Y", "paper_mixed_with_ink"),
        ("YR3W", 3, "W", "paper_mixed_with_ink"),
        ("C25 W", 4, "W", "paper_mixed_with_ink"),
        ("3Y", 0, "3", "figure_without_ink"),
        ("YR3 2", 4, "2", "figure_without_ink"),
        ("C25M", 3, "M", "percentage_missing"),
        ("YC25", 0, "Y", "percentage_missing"),
        ("C25R3", 3, "R3", "mixed_notations"),
        ("R50%", 0, "R50%", "mixed_notations"),
        ("Y50K", 3, "K", "mixed_notations"),
        ("C101", 0, "C101", "percentage_out_of_range"),
        ("Y300", 0, "Y300", "percentage_out_of_range"),
        ("C99999999999", 0, "C99999999999", "percentage_out_of_range"),
        ("C12.5 M0", 0, "C12.5", "percentage_not_whole"),
        ("C25 M12,5", 4, "M12,5", "percentage_not_whole"),
    ],
)
def test_an_error_names_place_token_and_reason(text: str, position: int, token: str, reason: str) -> None:
    error = refused(text)
    assert (error.position, error.token, str(error.reason)) == (position, token, reason)
    assert str(error) == error.message
    assert error.tint is None


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "There is no code here"),
        ("Y" * (MAX_LENGTH + 1), "A code has at most 80 signs"),
        ("YQ3", "“Q3”: no ink has this letter; the inks are Y, R, B, K, paper is W"),
        ("Y4", "“Y4”: the figure 4 has no meaning here; known are Y = 100 %, Y3 = 50 %, Y2 = 25 %"),
        ("W2", "“W2”: bare paper takes no figure"),
        ("YY", "“Y”: yellow is given twice"),
        ("WW", "“W”: paper is given twice"),
        ("YW", "“W”: paper can't stand beside an ink"),
        ("WY", "“Y”: an ink can't stand beside bare paper"),
        ("3", "“3”: no letter of an ink stands before this figure"),
        ("Y-", "“-”: this sign has no meaning in a code"),
        ("C25R3", "“R3”: the rest of this code is in percentages, which go with the letters C, M, Y and K"),
        ("Y50K", "“K”: a percentage and a letter with its step can't stand in one code"),
        ("C25M", "“M”: its percentage is missing"),
        ("C1.5", "“C1.5”: percentages are whole numbers"),
        ("C101", "“C101”: a percentage lies between 0 and 100"),
    ],
)
def test_an_error_says_what_is_wrong(text: str, words: str) -> None:
    error = refused(text)
    assert error.message == words
    with pytest.raises(NotationError) as plain:
        LETTERS_64.read_plain(text)
    assert (plain.value.message, plain.value.suggestions) == (words, ())


def test_a_letter_alone_without_a_meaning_is_said_to_be_alone() -> None:
    message = refused("G", GERMAN).message
    assert (
        message == "“G”: the letter alone has no meaning here; known are G4 = 100 %, G3 = 75 %, G2 = 50 %, G1 = 25 %"
    )


def test_the_first_trouble_from_the_left_is_named() -> None:
    assert refused("R4 Q ?").token == "R4"
    assert refused("Q R4 ?").token == "Q"
    assert refused("? R4 Q").token == "?"


def test_a_sign_whose_capital_is_another_letter_is_not_that_letter() -> None:
    assert GERMAN.read("s") == Tint(k=100)
    assert refused("ſ", GERMAN).reason is Reason.UNKNOWN_LETTER


def test_a_sign_that_looks_like_another_is_named() -> None:
    assert "cyrillic capital letter ve" in str(refused("В2"))
    assert "zero width space" in str(refused("Y\u200b"))


def test_a_code_off_the_chart_says_what_it_read() -> None:
    error = refused(" C37 M12 ", chart=CHART_64)
    assert (error.reason, error.position, error.token) == (Reason.NOT_ON_CHART, 1, "C37 M12")
    assert error.tint == Tint(37, 12)
    assert CHART_64.title in str(error)
    assert error.suggestions == tuple(LETTERS_64.write(tint) for tint in CHART_64.nearest(Tint(37, 12), 4))


@pytest.mark.parametrize("text", ["Y" * (MAX_LENGTH + 1), " " * 10_000_000, "9" * 10_000_000, "Y" + "%" * 10**6])
def test_a_text_beyond_the_bound_is_refused(text: str) -> None:
    error = refused(text)
    assert (error.reason, error.suggestions) == (Reason.TOO_LONG, ())
    assert len(str(error)) < 200


def test_the_longest_spacing_within_the_bound_is_read() -> None:
    assert LETTERS_64.read("Y".ljust(MAX_LENGTH)) == Tint(y=100)


def test_errors_travel_as_json() -> None:
    error = json.loads(json.dumps(refused("YR4", chart=CHART_64).to_dict()))
    assert error["position"] == 1
    assert error["token"] == "R4"
    assert error["reason"] == "step_not_on_chart"
    assert error["suggestions"][:2] == ["YR3", "YR"]
    assert "R4" in error["error"]


# Any text at all


@given(
    st.sampled_from(NOTATIONS),
    st.one_of(st.none(), st.sampled_from(list(STANDARD_CHARTS.values()))),
    st.one_of(st.text(max_size=100), st.text("YRBWKCMyrbkcm0123456789% .,", max_size=12)),
)
@settings(max_examples=1500, deadline=None)
def test_any_text_is_read_or_refused(notation: Notation, chart: Chart | None, text: str) -> None:
    tint, error = outcome(notation, text, chart)
    if error is not None:
        assert text[error.position :].startswith(error.token)
        assert error.token or error.reason is Reason.NOTHING
        assert len(error.suggestions) == len(set(error.suggestions)) <= 4
        assert json.dumps(error.to_dict())
        for code in error.suggestions:
            assert notation.read(code, chart) is not None
        with pytest.raises(NotationError) as plain:
            notation.read_plain(text, chart)
        assert (plain.value.position, plain.value.reason) == (error.position, error.reason)
    else:
        assert tint is not None
        assert chart is None or tint in chart
        assert notation.read(notation.write(tint), chart) == tint


@given(st.text("YRBWK237 ", max_size=10))
@settings(max_examples=500)
def test_a_second_reader_of_letters_agrees(text: str) -> None:
    """Letters only: the whole grammar as one regular expression over the text without its spaces."""
    pieces = re.findall(r"([YRBKW])([237]*)", re.sub(r"\s", "", text))
    value = {"": 100, "3": 50, "2": 25}
    inks = [letter for letter, _ in pieces]
    spelt = "".join(letter + figure for letter, figure in pieces)
    figures_split = any(left.isdigit() and right.isdigit() for left, right in re.findall(r"(\d)\s+(?=(\d))", text))
    good = (
        bool(pieces)
        and not figures_split
        and spelt == re.sub(r"\s", "", text)
        and len(set(inks)) == len(inks)
        and all(figure in value for _, figure in pieces)
        and ("W" not in inks or pieces == [("W", "")])
        and not any(letter == "K" and figure for letter, figure in pieces)
    )
    if good:
        amounts = {letter: value[figure] for letter, figure in pieces}
        expected = Tint(amounts.get("B", 0), amounts.get("R", 0), amounts.get("Y", 0), amounts.get("K", 0))
        assert LETTERS_64.read(text) == expected
    elif not set(text) - set("YRBW23 "):
        reading = None
        try:
            reading = LETTERS_64.read(text)
        except NotationError:
            return
        # The only other reading is a yellow percentage of two or three digits.
        assert re.fullmatch(r"\s*Y\s*[237]{2}\s*", text)
        assert reading == Tint(y=int(re.sub(r"\D", "", text)))


@given(st.characters())
def test_only_ascii_digits_are_figures(sign: str) -> None:
    if not sign.isascii() and (sign.isdigit() or unicodedata.category(sign).startswith("N")):
        error = refused(f"Y{sign}")
        assert (error.position, error.token, error.reason) == (1, sign, Reason.UNKNOWN_CHARACTER)
        assert refused(f"C{sign}").position == 1


def test_a_step_without_a_meaning_is_named_as_it_was_written() -> None:
    assert "the figure 7 has no meaning here" in refused("Y7").message
    assert "the letter alone has no meaning here" in refused("B", GERMAN).message
