"""One percentage on its own, as in a cell of a table."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bible.colour.notation import NotationError, Reason, read_percentage


@pytest.mark.parametrize(
    ("cell", "percent"),
    [("50", 50), (" 50 % ", 50), ("0", 0), ("100%", 100), ("", 0), ("25.0", 25), ("25,00", 25)],
)
def test_a_cell_holds_a_percentage(cell: str, percent: int) -> None:
    assert read_percentage(cell) == percent


@pytest.mark.parametrize(
    ("cell", "reason"),
    [
        ("12.5", Reason.NOT_WHOLE),
        ("101", Reason.OUT_OF_RANGE),
        ("-5", Reason.UNKNOWN_CHARACTER),
        ("nan", Reason.UNKNOWN_CHARACTER),
        ("C50", Reason.UNKNOWN_CHARACTER),
        ("50 50", Reason.UNKNOWN_CHARACTER),
        ("1e1", Reason.UNKNOWN_CHARACTER),
        ("٥", Reason.UNKNOWN_CHARACTER),
        ("5" * 1000, Reason.TOO_LONG),
    ],
)
def test_a_cell_that_holds_none(cell: str, reason: Reason) -> None:
    with pytest.raises(NotationError) as caught:
        read_percentage(cell)
    assert caught.value.reason is reason


@given(st.text(max_size=90))
def test_any_cell_is_read_or_refused(cell: str) -> None:
    try:
        percent = read_percentage(cell)
    except NotationError as error:
        place = cell[error.position :]
        if not place.startswith(error.token):
            raise AssertionError(f"{error.token!r} does not stand at {error.position}") from error
    else:
        assert 0 <= percent <= 100
