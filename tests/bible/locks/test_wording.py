"""Slips of the keys."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from bible.locks.wording import slips_between, slips_of

LETTERS = st.text(alphabet="abc", max_size=9)


def plainly(one: str, other: str) -> int:
    """The same distance by its definition: every way of aligning is tried."""
    if not one or not other:
        return len(one) + len(other)
    ways = [
        plainly(one[1:], other) + 1,
        plainly(one, other[1:]) + 1,
        plainly(one[1:], other[1:]) + (one[0] != other[0]),
    ]
    if len(one) > 1 and len(other) > 1 and one[0] == other[1] and one[1] == other[0]:
        ways.append(plainly(one[2:], other[2:]) + 1)
    return min(ways)


@given(st.text(alphabet="abc", max_size=5), st.text(alphabet="abc", max_size=5), st.sampled_from([1, 2]))
def test_it_counts_as_the_definition_does(one: str, other: str, most: int) -> None:
    assert slips_between(one, other, most) == min(plainly(one, other), most + 1)


@given(LETTERS, LETTERS)
def test_it_is_the_same_both_ways(one: str, other: str) -> None:
    assert slips_between(one, other, 2) == slips_between(other, one, 2)


def test_slips_at_both_ends_of_a_long_word_are_two() -> None:
    assert slips_between("XARMALADX", "MARMALADE", 2) == 2
    assert slips_between("XARMXLADX", "MARMALADE", 2) == 3


def test_a_word_still_being_typed_is_compared_with_as_much_of_the_other() -> None:
    assert slips_of("LANETR", ["LANTERN", "LANDING", "COAT"]) == ["LANTERN"]
    assert slips_of("CAT", ["COAT"]) == []
