"""Reading a house chart: written by Python's ``csv`` module in its dialects, read by ours."""

from __future__ import annotations

import codecs
import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bible.colour.chart_table import MAX_BYTES, MAX_ERRORS, MAX_ROWS, ChartTableError, read_table
from bible.colour.charts import CHART_64
from bible.colour.notation import LETTERS_64
from bible.colour.tints import Tint

percentages = st.integers(0, 100)
tints = st.builds(Tint, c=percentages, m=percentages, y=percentages, k=percentages)
labels = st.text(st.characters(exclude_categories=["Cc", "Cs", "Zl", "Zp"]), max_size=40).map(str.strip)


def written(rows: list[list[object]], delimiter: str = ",", line_end: str = "\n") -> str:
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator=line_end).writerows(rows)
    return out.getvalue()


def chart_rows() -> list[list[object]]:
    return [[LETTERS_64.write(tint), tint.c, tint.m, tint.y] for tint in CHART_64.tints]


@given(
    st.lists(st.tuples(labels, tints), min_size=1, max_size=12),
    st.sampled_from(",;\t|"),
    st.sampled_from(["\n", "\r\n", "\r"]),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
)
@settings(deadline=None)
def test_what_csv_writes_is_read(rows: list[tuple[str, Tint]], delimiter: str, line_end: str, encoding: str) -> None:
    heading: list[object] = ["label", "cyan", "magenta", "yellow", "key"]
    text = written([heading, *([label, *tint.percentages] for label, tint in rows)], delimiter, line_end)
    table = read_table(text.encode(encoding))
    assert table.delimiter == delimiter
    assert table.errors == ()
    assert table.has_headings
    assert [(swatch.label, swatch.tint) for swatch in table.swatches] == [(label, tint) for label, tint in rows]


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("heading", [None, ["Code", "C", "M", "Y"], ["Tint", "Blue %", "RED", "yellow"]])
def test_headings_are_optional(delimiter: str, heading: list[object] | None) -> None:
    table = read_table(written([heading, *chart_rows()] if heading else chart_rows(), delimiter))
    assert table.chart("house", "House") == type(CHART_64)("house", "House", CHART_64.tints)
    assert table.swatches[0].line == (2 if heading else 1)
    assert table.has_headings == bool(heading)


def test_headings_put_columns_in_any_order() -> None:
    table = read_table("Y,K,M,note,C,label\n100,5,50,warm,25,YR3B2\n")
    assert (table.swatches[0].label, table.swatches[0].tint) == ("YR3B2", Tint(25, 50, 100, 5))


def test_a_first_column_with_a_heading_of_its_own_is_the_label() -> None:
    assert read_table("Farbe;Cyan;Magenta;Yellow\nW;0;0;0\n").swatches[0].label == "W"


def test_a_label_that_looks_like_a_heading_is_no_heading() -> None:
    table = read_table("Y,0,0,100\nB,100,0,0\n")
    assert not table.has_headings
    assert [swatch.label for swatch in table.swatches] == ["Y", "B"]


def test_percent_signs_spaces_and_blank_lines_do_not_matter() -> None:
    table = read_table("\n YR3 ; 0 ; 50 % ; 100%\n\n;;;\nW;;;\n")
    assert [(swatch.line, swatch.label, swatch.tint) for swatch in table.swatches] == [
        (2, "YR3", Tint(m=50, y=100)),
        (5, "W", Tint()),
    ]


def test_windows_text_is_read_and_said() -> None:
    table = read_table("crème,0,0,25\n".encode("cp1252"))
    assert (table.encoding, table.swatches[0].label) == ("cp1252", "crème")


@pytest.mark.parametrize(
    ("row", "column", "says"),
    [
        ("YR3,0,fifty,100", "m", "magenta: “fifty”"),
        ("YR3,0,50.5,100", "m", "whole"),
        ("YR3,101,50,100", "c", "between 0 and 100"),
        ("YR3,0,-5,100", "m", "not a percentage"),
        ("YR3,nan,0,100", "c", "not a percentage"),
        ("YR3,0,50", "", "4 are needed"),
        ("YR3,0,50,100,0,7", "", "5 are read"),
        ('"YR3,0,50,100', "", "do not close"),
        ("Y" * 81 + ",0,0,0", "label", "at most 80"),
    ],
)
def test_a_bad_row_is_named_and_the_good_ones_are_kept(row: str, column: str, says: str) -> None:
    table = read_table(f"W,0,0,0\n{row}\nY,0,0,100\n")
    assert [swatch.line for swatch in table.swatches] == [1, 3]
    (error,) = table.errors
    assert (error.line, error.column) == (2, column)
    assert says in error.message


def test_only_so_many_errors_are_listed_but_all_are_counted() -> None:
    table = read_table("W,0,0,0\n" + "X,x,x,x\n" * (MAX_ERRORS + 50))
    assert (len(table.errors), table.error_count) == (MAX_ERRORS, MAX_ERRORS + 50)


@pytest.mark.parametrize(
    ("source", "says", "line"),
    [
        ("", "no row", None),
        (b"", "no row", None),
        ("\n \n,,,\n", "no row", None),
        ("label,c,m,y\n", "no rows", None),
        ("code,c,m\nW,0,0\n", "no column for yellow", 1),
        ("code,c,cyan,m,y\n", "two headings mean cyan", 1),
        (b"W,0,0,0\n\x81\n", "not text in UTF-8", 2),
        (codecs.BOM_UTF16_LE + b"W\x00,", "not text in UTF-8", 1),
        ("W,0,0,0\nY\0,0,0,100\n", "zero bytes", 2),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "zero bytes", None),
        ("x" * (MAX_BYTES + 1), "at most 1,000,000", None),
        ("é" * (MAX_BYTES // 2 + 1), "at most 1,000,000", None),
        ("W,0,0,0\n" * (MAX_ROWS + 1), "at most 5,000 rows", MAX_ROWS + 1),
    ],
)
def test_what_is_no_table_is_refused(source: bytes | str, says: str, line: int | None) -> None:
    with pytest.raises(ChartTableError) as caught:
        read_table(source)
    assert says in str(caught.value)
    if line is not None:
        assert caught.value.line == line
        assert str(caught.value).startswith(f"line {line}: ")


def test_the_largest_table_is_read() -> None:
    assert len(read_table("label,c,m,y\n" + "W,0,0,0\n" * MAX_ROWS).swatches) == MAX_ROWS


@given(st.one_of(st.binary(max_size=300), st.text(max_size=300), st.text('YRB320,;\t|"\n\r% ', max_size=200)))
@settings(max_examples=500, deadline=None)
def test_anything_is_read_or_refused(source: bytes | str) -> None:
    try:
        table = read_table(source)
    except ChartTableError as refusal:
        if not str(refusal):
            raise AssertionError("a refusal says why") from refusal
    else:
        assert table.swatches or table.errors
        lines = [swatch.line for swatch in table.swatches] + [error.line for error in table.errors]
        assert len(set(lines)) == len(lines)
