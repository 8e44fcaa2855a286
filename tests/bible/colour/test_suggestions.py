"""What is offered for an unreadable code.

That R4 means solid to one and 75 % to another, and that a B is taken for a 3, is common practice, no source; the
ranking by ink distance is checked against the chart's own.
"""

from __future__ import annotations

import pytest

from bible.colour.charts import CHART_64, Chart
from bible.colour.notation import LETTERS_64, LETTERS_125_75, PERCENT, Notation, NotationError
from bible.colour.tints import PAPER, Tint

GERMAN = Notation(letters="BRGS", order="ymck", steps=(("1", 25), ("2", 50), ("3", 75), ("4", 100)))


def refused(text: str, notation: Notation = LETTERS_64, chart: Chart | None = None) -> NotationError:
    with pytest.raises(NotationError) as caught:
        notation.read(text, chart)
    return caught.value


@pytest.mark.parametrize(
    ("text", "among"),
    [
        ("R4", {"R", "R3"}),  # solid to one, 75 % to another
        ("YR38", {"YR3B"}),  # B written like an 8 (common practice, no source)
        ("YR33", {"YR3B"}),
        ("3R", {"R3", "RB"}),  # the figure written first, or B written like a 3
        ("25% C 50% M", {"R3B2"}),
        ("YG3", {"YR3", "YB3"}),
        ("WY", {"W", "Y"}),
        ("YY3", {"Y", "Y3"}),
        ("YR3,B2", {"YR3B2"}),
        ("R３", {"R3"}),
        ("Y²", {"Y2"}),
        ("R50", {"R3"}),
        ("C120", {"B"}),
        ("C3", {"B3"}),  # off the chart as 3 %, on it as the step
        ("C25R3", {"R3B2"}),
    ],
)
def test_the_likely_meaning_is_offered(text: str, among: set[str]) -> None:
    assert among <= set(refused(text, chart=CHART_64).suggestions)


def test_the_strength_of_a_named_ink_is_doubted_before_its_presence() -> None:
    assert refused("R4", chart=CHART_64).suggestions == ("R3", "R", "R2")
    assert refused("YR50", chart=CHART_64).suggestions == ("YR3", "YR2")


@pytest.mark.parametrize("text", ["", "hello world", "?!", "\u200b", "QQQQ", "hello wall"])
def test_rubbish_gets_no_suggestions(text: str) -> None:
    assert refused(text, chart=CHART_64).suggestions == ()


def test_solid_key_is_near_nothing_on_a_chart_without_key() -> None:
    assert refused("K", chart=CHART_64).suggestions == ()


def test_suggestions_are_in_the_series_own_notation_and_on_its_chart() -> None:
    house = Chart.of("house", "Three tints", [PAPER, Tint(m=50), Tint(m=100)])
    assert refused("R4", PERCENT, house).suggestions == ("M50", "M100")
    assert refused("R7", GERMAN).suggestions[0] == "R4"
    assert refused("R4", LETTERS_125_75).suggestions[:2] == ("R3", "R7")
