"""Headings are recognised however they are written; the person has the last word."""

from __future__ import annotations

import pytest

from guides.imports.columns import BIBLE, ISSUES, MARKS, body, find_headings, guess, repeats_headings
from guides.imports.grid import Grid, GridRow


def grid(*rows: tuple[str, ...]) -> Grid:
    return Grid(tuple(GridRow(line, cells) for line, cells in enumerate(rows, 1) if any(cells)))


@pytest.mark.parametrize(
    ("headings", "expected"),
    [
        (("Subject", "Costume", "Part", "Code"), {"subject": 0, "costume": 1, "part": 2, "code": 3}),
        (("CHARACTER", "Outfit", "Item", "Colour code"), {"subject": 0, "costume": 1, "part": 2, "code": 3}),
        (("tint_code", "from-issue", "Who?"), {"code": 0, "first": 1, "subject": 2}),
        (("Name of the character", "Part", "Tint"), {"part": 1, "code": 2}),
    ],
)
def test_guesses(headings: tuple[str, ...], expected: dict[str, int]) -> None:
    found = {name: at for name, at in guess(headings, BIBLE).items() if at is not None}
    assert expected.items() <= found.items()


def test_no_column_is_taken_twice() -> None:
    found = guess(("Code", "Code", "Subject", "Subject"), BIBLE)
    assert (found["code"], found["subject"]) == (0, 2)


def test_the_files_we_hand_off_are_understood() -> None:
    from guides.handoff.exports import MARK_COLUMNS

    found = guess(MARK_COLUMNS, MARKS)
    for name in ("page", "number", "x", "y", "written", "to_x", "to_y", "to_written", "role", "subject", "costume"):
        assert found[name] == MARK_COLUMNS.index(name), name


def test_titles_above_the_headings_are_left_out() -> None:
    table = grid(("The Ferry",), ("made in March",), ("Subject", "Part", "Code"), ("Thea", "coat", "Y"))
    headings = find_headings(table, BIBLE)
    assert headings.row is not None
    assert headings.row.line == 3
    assert [row.cells[0] for row in body(table, headings)] == ["Thea"]


def test_headings_said_again_are_known() -> None:
    table = grid(("Subject", "Part", "Code"), ("Thea", "coat", "Y"), ("SUBJECT", "part", "Code "))
    headings = find_headings(table, BIBLE)
    assert [repeats_headings(row, headings) for row in body(table, headings)] == [False, True]


def test_without_headings_every_row_counts() -> None:
    table = grid(("Thea", "coat", "Y"), ("Ruben", "cap", "R"))
    headings = find_headings(table, BIBLE)
    assert headings.row is None
    assert len(body(table, headings)) == 2
    assert headings.column_label(1, table.rows) == "B (coat)"


def test_one_heading_is_enough_for_issues() -> None:
    assert find_headings(grid(("Issue", "Title"), ("1", "The ferry")), ISSUES).guess["number"] == 0
