"""Notations, and how a text is read or refused in them."""

from __future__ import annotations

import pytest

from bible.colour.charts import Chart
from bible.colour.notation import (
    LETTERS_64,
    STANDARD_NOTATIONS,
    Notation,
    NotationError,
)

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
