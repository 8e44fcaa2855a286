"""What is no code, and how an error says so; sources as in test_notation."""

from __future__ import annotations

import json
import re
import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bible.colour.charts import CHART_64, STANDARD_CHARTS, Chart
from bible.colour.notation import (
    LETTERS_64,
    MAX_LENGTH,
    Notation,
    NotationError,
    Reason,
)
from bible.colour.tints import Tint
from tests.bible.colour.written import GERMAN, NOTATIONS, refused


def outcome(notation: Notation, text: str, chart: Chart | None) -> tuple[Tint | None, NotationError | None]:
    try:
        return notation.read(text, chart), None
    except NotationError as error:
        return None, error


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
