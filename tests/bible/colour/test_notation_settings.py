"""The settings of a notation, and what a change of them does to marks. Letters and figures are of our own."""

from __future__ import annotations

import json

import pytest

from bible.colour.charts import CHART_64, CHART_125_70
from bible.colour.notation import (
    LETTERS_64,
    Notation,
    NotationSettingError,
    Reason,
    readings_that_change,
)
from bible.colour.tints import INKS, Tint
from tests.bible.colour.written import CMY, GERMAN, KEYED, LONG_STEPS, NOTATIONS, refused


@pytest.mark.parametrize("notation", NOTATIONS)
def test_settings_travel_as_json(notation: Notation) -> None:
    stored = json.loads(json.dumps(notation.to_dict()))
    assert Notation.from_dict(stored) == notation
    assert hash(Notation.from_dict(stored)) == hash(notation)
    assert set(stored["letters"]) == set(INKS)


def test_settings_left_out_keep_their_usual_values() -> None:
    assert Notation.from_dict({}) == LETTERS_64
    assert "key_steps" not in LETTERS_64.to_dict(), "a release from before there were any would refuse it"
    assert (
        Notation.from_dict({key: value for key, value in KEYED.to_dict().items() if key != "key_steps"}) == LETTERS_64
    )
    assert Notation.from_dict({"aliases": {"r4": 100}}).read("R4") == Tint(m=100)


def test_settings_have_one_normal_form() -> None:
    shuffled = Notation(letters="bryk", paper="w", order="YMCK", steps=(("2", 25), ("", 100), ("3", 50)))
    assert shuffled == LETTERS_64


def test_letters_of_the_series_own() -> None:
    assert GERMAN.read("g4 r2 b1 s") == Tint(25, 50, 100, 100)
    assert GERMAN.write(Tint(25, 50, 100, 100)) == "G4R2B1S"
    assert GERMAN.read("Y50") == Tint(y=50)  # Y is no letter of theirs, so this is a percentage
    assert refused("G", GERMAN).reason is Reason.UNKNOWN_STEP


def test_letters_that_are_those_of_the_percentages() -> None:
    assert CMY.read("C3M2Y") == Tint(50, 25, 100)
    assert CMY.read("C37 M12") == Tint(37, 12)
    assert CMY.read("C3% M7%") == Tint(3, 7)
    assert refused("C3 M50", CMY).reason is Reason.MIXED
    assert LONG_STEPS.read("C25 M75 Y100") == Tint(25, 75, 100)
    assert refused("C Y100", LONG_STEPS).reason is Reason.MIXED


@pytest.mark.parametrize(
    ("field", "given_settings"),
    [
        ("letters", {"letters": "BRY"}),
        ("letters", {"letters": "BRYY"}),
        ("letters", {"letters": "BR3K"}),
        ("letters", {"letters": "MRYK"}),
        ("letters", {"letters": {"c": "B"}}),
        ("letters", {"letters": {"c": "BB", "m": "R", "y": "Y", "k": "K"}}),
        ("letters", {"letters": 5}),
        ("paper", {"paper": "B"}),
        ("paper", {"paper": ""}),
        ("paper", {"paper": "C"}),
        ("order", {"order": "ymc"}),
        ("order", {"order": "yymc"}),
        ("order", {"order": None}),
        ("style", {"style": "prose"}),
        ("steps", {"steps": {}}),
        ("steps", {"steps": {"x": 50}}),
        ("steps", {"steps": {"0": 50}}),
        ("steps", {"steps": {"٣": 50}}),
        ("steps", {"steps": {"3": 101}}),
        ("steps", {"steps": {"3": 0}}),
        ("steps", {"steps": {"3": 50.5}}),
        ("steps", {"steps": {"3": True}}),
        ("steps", {"steps": {"33": 50}}),
        ("steps", {"steps": {"3": 50, "4": 50}}),
        ("steps", {"steps": [["3", 50], ["3", 25]]}),
        ("steps", {"steps": 7}),
        ("steps", {"steps": {str(number): number for number in range(10, 30)}}),
        ("aliases", {"aliases": {"R3": 75}}),
        ("aliases", {"aliases": {"Q4": 75}}),
        ("aliases", {"aliases": {"4": 75}}),
        ("aliases", {"aliases": {"R44": 75}}),
        ("aliases", {"aliases": {"R4": 101}}),
        ("aliases", {"aliases": {"K4": 75}}),
        ("aliases", {"aliases": {"": 75}}),
        ("aliases", {"aliases": [["R4", 75], ["r 4", 100]]}),
        ("key_steps", {"key_steps": {"3": 100}}),
        ("key_steps", {"key_steps": {"": 50}}),
        ("key_steps", {"key_steps": {"33": 50}}),
        ("key_steps", {"key_steps": {"2": 50, "3": 50}}),
        ("key_steps", {"key_steps": "K"}),
        ("aliases", {"letters": "BRGS", "key_steps": {"3": 50}, "aliases": {"S3": 75}}),
        ("colour", {"colour": "blue"}),
    ],
)
def test_settings_with_two_readings_or_none_are_refused(field: str, given_settings: dict[str, object]) -> None:
    with pytest.raises(NotationSettingError) as caught:
        Notation.from_dict(given_settings)
    assert caught.value.field == field
    assert str(caught.value)


@pytest.mark.parametrize(
    ("given_settings", "words"),
    [
        ({"letters": "BRY"}, "give four letters: for cyan, magenta, yellow and key, in this order"),
        ({"letters": 5}, "give four letters: for cyan, magenta, yellow and key, in this order"),
        ({"letters": {"c": "B"}}, "give one letter for each of c, m, y and k"),
        ({"letters": {"c": "BB", "m": "R", "y": "Y", "k": "K"}}, "each ink has one letter"),
        ({"letters": {"c": 5, "m": "R", "y": "Y", "k": "K"}}, "each ink has one letter"),
        ({"letters": "BR3K"}, "“3” is not a letter"),
        ({"letters": "BRRK"}, "the letter R is used twice"),
        ({"letters": "MRYK"}, "M is kept for magenta, its letter among the percentages"),
        ({"letters": "BRKY"}, "K is kept for key, its letter among the percentages"),
        ({"paper": "C"}, "C is kept for cyan, its letter among the percentages"),
        ({"paper": "R"}, "the letter R is used twice"),
        ({"paper": ""}, "bare paper has one letter"),
        ({"paper": "WW"}, "bare paper has one letter"),
        ({"paper": None}, "bare paper has one letter"),
        ({"order": "yymc"}, "the order names each of c, m, y and k once, such as “ymck”"),
        ({"style": "prose"}, "the style is one of letters, percent"),
        ({"steps": 7}, "steps pair a figure with a percentage"),
        ({"steps": [["3"]]}, "steps pair a figure with a percentage"),
        ({"steps": {"3": True}}, "steps pair a figure with a whole percentage"),
        ({"steps": [[3, 50]]}, "steps pair a figure with a whole percentage"),
        ({"steps": {}}, "a notation has 1 to 12 steps, not 0"),
        ({"steps": {str(number): number for number in range(10, 23)}}, "a notation has 1 to 12 steps, not 13"),
        ({"steps": {"0": 50}}, "“0” is no figure of a step: digits, or nothing at all"),
        ({"steps": {"1000": 50}}, "“1000” is no figure of a step: digits, or nothing at all"),
        ({"steps": {"3": 0}}, "a step lies between 1 and 100 %, not 0"),
        ({"steps": {"3": 101}}, "a step lies between 1 and 100 %, not 101"),
        ({"steps": {"33": 50}}, "the figure 33 would be taken for 33 %; use a single digit, or let it mean that"),
        ({"steps": [["3", 50], ["3", 25]]}, "a figure has one meaning; one is there twice"),
        ({"steps": {"3": 50, "4": 50}}, "50 % has two figures; make “4” an alias instead"),
        ({"aliases": [["R4"]]}, "aliases pair a figure with a percentage"),
        ({"aliases": {"Q4": 7}}, "“Q4” is no alias: it takes the letter of an ink (B, R, Y, K) and a figure"),
        ({"aliases": {"R01": 7}}, "“R01” is no alias: it takes the letter of an ink (B, R, Y, K) and a figure"),
        ({"aliases": {" ": 7}}, "“ ” is no alias: it takes the letter of an ink (B, R, Y, K) and a figure"),
        ({"aliases": {"K4": 75}}, "“K4” is a percentage of key already"),
        ({"aliases": {"r 3": 75}}, "“R3” is a step already"),
        ({"aliases": [["R4", 75], ["r 4", 100]]}, "“R4” is there twice"),
        ({"aliases": {"R4": 101}}, "an alias means 0 to 100 %, not 101"),
        ({"aliases": {"R4": -1}}, "an alias means 0 to 100 %, not -1"),
        ({"aliases": {"R44": 75}}, "the figure 44 would be taken for 44 %; use a single digit, or let it mean that"),
        ({"aliases": {f"{ink}{n}": n for ink in "RY" for n in range(10, 61)}}, "a notation has at most 100 aliases, not 102"),
        ({"colour": "blue", "zest": 1}, "a notation has no setting “colour”"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_settings_is_said(given_settings: dict[str, object], words: str) -> None:
    with pytest.raises(NotationSettingError) as caught:
        Notation.from_dict(given_settings)
    assert str(caught.value) == words
    with pytest.raises(NotationSettingError, match="are a mapping"):
        Notation.from_dict([given_settings])  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("given_settings", "read"),
    [
        ({"steps": {"": 100}}, {"Y": 100}),
        ({"steps": {"1": 1, "100": 100}}, {"Y1": 1, "Y100": 100}),
        ({"steps": {str(number): number for number in range(10, 22)}}, {"Y10": 10, "Y21": 21}),
        ({"aliases": {"Y0": 0, "Y9": 100}}, {"Y0": 0, "Y9": 100}),
        ({"aliases": {f"{ink}{n}": n for ink in "RY" for n in range(10, 60)}}, {"Y10": 10}),
        ({"letters": {"c": "b", "m": "r", "y": "y", "k": "k"}, "order": "KCMY"}, {"Y2": 25}),
        ({"letters": "BRYS", "aliases": {"S3": 50}}, {"Y2": 25}),
        ({"letters": "CMYK"}, {"Y2": 25}),
    ],
)
def test_settings_at_their_bounds_are_taken(given_settings: dict[str, object], read: dict[str, int]) -> None:
    notation = Notation.from_dict(given_settings)
    assert {code: notation.read(code).y for code in read} == read
    assert Notation.from_dict(notation.to_dict()) == notation
    assert list(notation.steps) == sorted(notation.steps, key=lambda step: -step[1])
    assert list(notation.aliases) == sorted(notation.aliases)


# A change of notation


def test_a_change_says_which_marks_would_read_differently() -> None:
    new = Notation(aliases=(("R4", 75),), steps=(("", 100), ("3", 50), ("2", 20)))
    texts = ["YR4", "Y2", "R", "rubbish", "YR4", "Y25", "C20"]
    changes = readings_that_change(texts, LETTERS_64, new)
    assert [(change.text, change.kind) for change in changes] == [
        ("YR4", "now_readable"),
        ("Y2", "other_tint"),
    ]
    assert (changes[1].before, changes[1].after) == (Tint(y=25), Tint(y=20))
    assert readings_that_change(texts, new, new) == []


def test_a_change_of_chart_counts_too() -> None:
    changes = readings_that_change(["C70", "C25", "B"], LETTERS_64, LETTERS_64, CHART_125_70, CHART_64)
    assert [(change.text, change.kind, change.before) for change in changes] == [
        ("C70", "now_unreadable", Tint(c=70))
    ]
