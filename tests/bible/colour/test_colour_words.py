"""What people call a colour.

Judged on the colour names of CSS (W3C, CSS Color Module Level 3, as Pillow has them): a name that holds a basic
term ought to be called so. The borders were chosen looking at CSS's sixteen basic names and the names of this list.
"""

from __future__ import annotations

import numpy as np
import pytest
from PIL.ImageColor import colormap

from bible.colour.charts import STANDARD_CHARTS
from bible.colour.colorimetry import srgb_to_lab
from bible.colour.colour_words import REGIONS, colour_term, is_called
from bible.colour.press import available, load
from bible.colour.tints import as_array

NAMES = {name: code for name, code in colormap.items() if isinstance(code, str)}


def lab_of(hex_code: str) -> np.ndarray:
    return srgb_to_lab(np.array([[int(hex_code[at : at + 2], 16) for at in (1, 3, 5)]], dtype=np.uint8))


@pytest.mark.parametrize("term", sorted(set(REGIONS)))
def test_the_colour_that_css_calls_so_is_called_so(term: str) -> None:
    assert is_called(lab_of(NAMES[term]), term)[0]


def test_names_that_hold_a_term_are_called_so() -> None:
    held = [
        (name, term, is_called(lab_of(code), term)[0])
        for name, code in NAMES.items()
        for term in REGIONS
        if term in name.replace("gray", "grey")
    ]
    missed = [(name, term) for name, term, fits in held if not fits]
    assert len(held) > 60
    # Names that say two things at once, and whites that are tinted.
    assert len(missed) <= 0.1 * len(held), missed


def test_opposites_are_never_one_another() -> None:
    for name, others in {"red": "green blue", "green": "red purple pink", "blue": "red yellow orange brown"}.items():
        lab = lab_of(NAMES[name])
        assert not any(is_called(lab, other)[0] for other in others.split()), name


@pytest.mark.parametrize("press", [info.name for info in available()])
@pytest.mark.parametrize("chart", sorted(STANDARD_CHARTS))
def test_every_tint_of_a_chart_is_called_something(press: str, chart: str) -> None:
    tints = STANDARD_CHARTS[chart].tints
    lab = load(press).relative_lab(as_array(tints))
    nameless = ~np.any([is_called(lab, term) for term in REGIONS], axis=0)
    assert [str(tint) for tint, no_name in zip(tints, nameless, strict=True) if no_name] == []


@pytest.mark.parametrize(("word", "term"), [("RED", "red"), ("gray", "grey"), ("violet", "purple"), ("coat", "")])
def test_words_and_their_terms(word: str, term: str) -> None:
    assert colour_term(word) == term
