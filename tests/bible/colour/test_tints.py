"""The tint value. The packing is checked against ``struct``, the sums and orders against plain Python."""

from __future__ import annotations

import dataclasses
import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bible.colour.tints import INK_NAMES, INKS, PAPER, Tint, as_array

percentages = st.integers(0, 100)
tints = st.builds(Tint, c=percentages, m=percentages, y=percentages, k=percentages)


@given(tints)
def test_a_packed_tint_is_four_bytes_and_comes_back(tint: Tint) -> None:
    assert struct.pack(">I", tint.packed) == bytes(tint.percentages)
    assert Tint.from_packed(tint.packed) == tint
    assert 0 <= tint.packed < 2**31


@given(tints, tints)
def test_packing_keeps_tints_apart_and_in_order(one: Tint, other: Tint) -> None:
    assert (one == other) == (one.packed == other.packed)
    assert (one < other) == (one.packed < other.packed)


@pytest.mark.parametrize("value", [-1, 101, 1 << 31, 100 << 24 | 101, 2**40])
def test_an_integer_no_tint_packs_to_is_refused(value: int) -> None:
    with pytest.raises(ValueError, match=r"packed|between 0 and 100"):
        Tint.from_packed(value)


@pytest.mark.parametrize("ink", INKS)
@pytest.mark.parametrize("percent", [-1, 101, 10**9])
def test_a_percentage_out_of_range_is_refused_by_name(ink: str, percent: int) -> None:
    with pytest.raises(ValueError, match=f"{INK_NAMES[ink]} must be between 0 and 100 %"):
        Tint(**{ink: percent})


@pytest.mark.parametrize("percent", [50.0, "50", None, True, float("nan"), np.float64(50)])
def test_only_whole_numbers_are_percentages(percent: object) -> None:
    with pytest.raises(TypeError, match="whole percentage"):
        Tint(c=percent)  # type: ignore[arg-type]


def test_a_tint_is_a_value() -> None:
    assert len({Tint(25, 50), Tint(c=25, m=50), Tint(m=50, c=25)}) == 1
    with pytest.raises(dataclasses.FrozenInstanceError):
        Tint().c = 5  # type: ignore[misc]


@given(tints)
def test_total_ink_and_paper(tint: Tint) -> None:
    assert tint.total_ink == sum(tint.percentages)
    assert tint.is_paper == (tint == PAPER)


def test_words_for_people() -> None:
    assert str(Tint(25, 50, 100)) == "C25 M50 Y100"
    assert str(PAPER) == "paper"


@given(st.lists(tints, max_size=20))
def test_arrays_keep_order_and_shape(many: list[Tint]) -> None:
    array = as_array(many)
    assert array.shape == (len(many), 4)
    assert [tuple(row) for row in array.tolist()] == [tint.percentages for tint in many]
