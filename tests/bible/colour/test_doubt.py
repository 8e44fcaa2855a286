"""How far a condition may be off travels in its file, and is linear between its nodes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bible.colour import press
from bible.colour.cgats import CgatsError, read_reference
from bible.colour.doubt import NodeDoubt
from bible.colour.pressfile import PressFileError, dumps, loads

LEVELS = press.load("newsprint").model.levels


def make_doubt() -> NodeDoubt:
    shape = tuple(len(steps) for steps in LEVELS)
    places = np.stack(np.meshgrid(*[np.array(steps) for steps in LEVELS], indexing="ij"), axis=-1)
    return NodeDoubt(LEVELS, (places @ [0.01, 0.02, 0.03, 0.04]).reshape(shape))


def test_between_nodes_it_is_linear() -> None:
    tints = np.array([[0.0, 0, 0, 0], [13, 55, 71, 90], [100, 100, 100, 100]])
    np.testing.assert_allclose(make_doubt().at(tints), tints @ [0.01, 0.02, 0.03, 0.04])


def test_it_is_kept_in_the_conditions_file() -> None:
    doubted = replace(press.load("newsprint"), doubt=make_doubt())
    again = loads(dumps(doubted))
    found = again.doubts([[50, 50, 0, 20]])
    assert found is not None
    assert found[0] == pytest.approx(2.3, abs=0.01)
    assert dumps(again) == dumps(doubted)


def test_a_file_whose_doubts_are_broken_off_is_refused_with_its_line() -> None:
    text = dumps(replace(press.load("newsprint"), doubt=make_doubt()))
    with pytest.raises(PressFileError, match=r"is expected here|ends too early"):
        loads("\n".join(text.splitlines()[:-40]) + "\nend\n")
    with pytest.raises(PressFileError, match="0 to 100"):
        loads(text.replace("100 100 100 100 10.00", "100 100 100 100 -1.00"))


REFERENCE = """CGATS.17
BEGIN_DATA_FORMAT
SAMPLE_ID SAMPLE_NAME LAB_L LAB_A LAB_B
END_DATA_FORMAT
NUMBER_OF_SETS 2
BEGIN_DATA
1 A1 100 0 0
2 A2 50 0 0
END_DATA
"""


def test_a_targets_reference_needs_no_inks() -> None:
    found = read_reference(REFERENCE)
    assert found.names == ("A1", "A2")
    np.testing.assert_allclose(found.xyz[0], [96.42, 100, 82.52], atol=0.02)
    np.testing.assert_allclose(found.xyz[1, 1], 18.42, atol=0.01)  # L* 50 (CIE 15)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("SAMPLE_ID SAMPLE_NAME", "CMYK_C CMYK_M"), "SAMPLE_NAME"),
        (("LAB_L", "LAB_X"), "XYZ_X"),
        (("2 A2", "2 A1"), "twice"),
        (("50 0 0", "grey 0 0"), "not a number"),
    ],
)
def test_a_faulty_reference_is_refused_in_words(change: tuple[str, str], says: str) -> None:
    with pytest.raises(CgatsError, match=says):
        read_reference(REFERENCE.replace(*change))
