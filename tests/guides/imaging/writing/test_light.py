"""Whether a page's codes are what a scene makes of the bible's: arithmetic worked by hand."""

import math

import pytest

from bible.colour.notation import LETTERS_64
from guides.imaging.writing.light import STRAY, speaks_for

DAY, NIGHT = (LETTERS_64.read(code) for code in ("YR", "Y3RB2"))


def test_a_code_that_only_the_light_makes_speaks_for_it() -> None:
    held = {DAY: 1}, {NIGHT: 1}
    stray = STRAY / 64
    assert speaks_for([[(NIGHT, 1.0)]], *held) == pytest.approx(math.log((1 - STRAY + stray) / stray))
    assert speaks_for([[(DAY, 1.0)]], *held) == pytest.approx(-math.log((1 - STRAY + stray) / stray))
    assert speaks_for([[(DAY, 0.5), (NIGHT, 0.5)], []], *held) == pytest.approx(0.0)


def test_what_the_light_leaves_as_it_is_says_nothing() -> None:
    both = {DAY: 3, NIGHT: 1}
    assert speaks_for([[(DAY, 0.9)], [(NIGHT, 0.9)]], both, both) == 0.0
