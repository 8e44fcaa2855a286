"""Files as other programs write them: openpyxl and pandas write, we read. RFC 4180 for CSV."""

from __future__ import annotations

import contextlib
import io
import time
import zipfile
from typing import Any

import pandas
import pytest
import xlwt
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from bible.settings import BASE_DIR
from guides.imaging.intake import formats as pictures
from guides.imports import formats, workbooks
from guides.imports.grid import read_table
from guides.imports.workbooks import UnreadableTable, column_name


def workbook(*rows: list[Any]) -> Workbook:
    book = Workbook()
    for row in rows:
        book.active.append(row)  # type: ignore[union-attr]
    return book


def saved(book: Workbook) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def cells(data: bytes) -> list[tuple[str, ...]]:
    return [row.cells for row in read_table(data, "rows").rows]


def test_column_names_as_openpyxl_has_them() -> None:
    from openpyxl.utils import get_column_letter

    assert [column_name(at) for at in range(800)] == [get_column_letter(at + 1) for at in range(800)]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize("sign", [",", ";", "\t"])
def test_pandas_csv(encoding: str, sign: str) -> None:
    frame = pandas.DataFrame({"Subject": ["Åse", "Net, torn"], "Code": ["YR3B2", 'the "B"']})
    data = frame.to_csv(index=False, sep=sign).encode(encoding)
    assert cells(data) == [("Subject", "Code"), ("Åse", "YR3B2"), ("Net, torn", 'the "B"')]


@pytest.mark.parametrize(
    "data", [b"\n" * 9_000_000, b"\r" * 9_000_000, b"a,b\n" + b"," * 9_000_000], ids=["lf", "cr", "commas"]
)
def test_a_file_of_nothing_is_refused_before_it_is_read(data: bytes) -> None:
    """Eight of them took a site down for a minute: some 7 s of a core each, and no row in the end. Processor time, so
    that a busy machine does not fail it."""
    began = time.process_time()
    with pytest.raises(UnreadableTable, match=r"below line 200,000|16,384 columns"):
        read_table(data, "rows.csv")
    assert time.process_time() - began < 1.5


def test_empty_lines_below_a_table_do_no_harm() -> None:
    assert cells(b"Subject,Code\nA,Y\n" + b",\n" * 10_000) == [("Subject", "Code"), ("A", "Y")]


def test_another_encoding_is_read_and_said() -> None:
    found = read_table("Subject,Code\nRenée,Y\n".encode("cp1252"), "rows.csv")
    assert found.rows[1].cells == ("Renée", "Y")
    assert "Windows-1252" in found.notices[0]


def test_lines_are_counted_as_people_see_them() -> None:
    found = read_table(b'Subject,Note\n\nThea,"two\nlines"\nRuben,\n', "rows.csv")
    assert [(row.line, row.cells) for row in found.rows] == [
        (1, ("Subject", "Note")), (3, ("Thea", "two\nlines")), (5, ("Ruben",)),
    ]  # fmt: skip


def test_guarded_cells_lose_their_apostrophe() -> None:
    assert cells(b"Subject,Code\n'=Thea,'-Y\n")[1] == ("=Thea", "-Y")


def test_openpyxl_and_pandas_workbooks() -> None:
    assert cells(saved(workbook(["Subject", "From"], ["Thea", 41], ["Ruben", 2.5], ["Net", True], [None, None]))) == [
        ("Subject", "From"), ("Thea", "41"), ("Ruben", "2.5"), ("Net", "yes"),
    ]  # fmt: skip
    out = io.BytesIO()
    pandas.DataFrame({"Issue": [41, 42], "Date": pandas.to_datetime(["2026-01-02", "2026-02-02"])}).to_excel(
        out, index=False
    )
    assert cells(out.getvalue()) == [("Issue", "Date"), ("41", "2026-01-02"), ("42", "2026-02-02")]


def rows_of_programs(kind: str) -> bytes:
    """What two writers that know nothing of our reader make of one table: odfpy through pandas, and xlwt."""
    out = io.BytesIO()
    rows: list[list[Any]] = [["Subject", "From"], ["Thea", 41], ["Ruben", 2.5]]
    if kind == "ods":
        pandas.DataFrame(rows[1:], columns=rows[0]).to_excel(out, index=False, engine="odf")
    else:
        book = xlwt.Workbook()
        sheet = book.add_sheet("Cast")
        for line, row in enumerate(rows):
            for column, value in enumerate(row):
                sheet.write(line, column, value)
        book.save(out)
    return out.getvalue()


@pytest.mark.parametrize("kind", ["ods", "xls"])
def test_other_workbooks_are_read_too(kind: str) -> None:
    found = read_table(rows_of_programs(kind), f"rows.{kind}")
    assert [row.cells for row in found.rows] == [("Subject", "From"), ("Thea", "41"), ("Ruben", "2.5")]
    assert [row.line for row in found.rows] == [1, 2, 3]
    assert ["Formulas in an .xls" in notice for notice in found.notices] == [True] * (kind == "xls")


def test_a_table_that_begins_further_in_keeps_its_places() -> None:
    book = Workbook()
    book.active["C4"], book.active["D4"], book.active["C6"] = "Subject", "Code", "Thea"  # type: ignore[index]
    found = read_table(saved(book), "rows.xlsx")
    assert [(row.line, row.cells) for row in found.rows] == [(4, ("", "", "Subject", "Code")), (6, ("", "", "Thea"))]


def changed(data: bytes, name: str, old: bytes, new: bytes) -> bytes:
    """A zip with one member's text changed."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as source, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target:
        for member in source.namelist():
            text = source.read(member)
            assert member != name or old in text
            target.writestr(member, text.replace(old, new) if member == name else text)
    return out.getvalue()


@pytest.mark.parametrize(
    ("cell", "why"), [("XFD100000", "more room than a table can"), ("XFD1048576", "more room|below line 200,000")]
)
def test_one_cell_at_the_far_end_is_no_bomb(cell: str, why: str) -> None:
    """All room between A1 and XFD100000 is some fifty gigabytes: whoever reads is ended, and nobody else."""
    book = workbook(["Subject"], ["Thea"])
    book.active[cell] = "x"  # type: ignore[index]
    with pytest.raises(UnreadableTable, match=why):
        read_table(saved(book), "rows.xlsx")


def test_cells_repeated_without_end_are_no_bomb() -> None:
    repeated = b'<table:table-cell table:number-columns-repeated="16384" '
    data = changed(rows_of_programs("ods"), "content.xml", b"<table:table-cell ", repeated)
    data = changed(
        data, "content.xml", b"<table:table-row>", b'<table:table-row table:number-rows-repeated="900000">'
    )
    with pytest.raises(UnreadableTable, match=r"more room|below|columns|damaged"):
        read_table(data, "rows.ods")


def test_what_reads_is_ended_when_it_takes_too_long(monkeypatch: pytest.MonkeyPatch) -> None:
    told = workbooks.bounds(10)
    monkeypatch.setattr(workbooks, "MOST_SECONDS", 0.01)
    monkeypatch.setattr(workbooks, "bounds", lambda most_rows: told)
    with pytest.raises(UnreadableTable, match="more room than a table can"):
        read_table(rows_of_programs("xls"), "rows.xls")


def test_formulas_and_merged_cells_of_opendocument_are_known_by_their_cells() -> None:
    data = rows_of_programs("ods")
    formula = changed(data, "content.xml", b"<table:table-cell ", b'<table:table-cell table:formula="of:=1+1" ')
    assert [len(row.formulas) for row in read_table(formula, "rows.ods").rows] == [2, 2, 2]
    spanned = b'<table:table-cell table:number-rows-spanned="2" '
    found = read_table(changed(data, "content.xml", b"<table:table-cell ", spanned), "rows.ods")
    assert "Merged cells (A1:A2, B1:B2" in found.notices[0]


def test_formulas_that_do_not_say_where_they_stand_are_refused() -> None:
    data = saved(workbook(["Subject", "Code"], ["Thea", '="Y" & "R"']))
    with pytest.raises(UnreadableTable, match="do not say where"):
        read_table(changed(data, "xl/worksheets/sheet1.xml", b'r="B2"', b""), "rows.xlsx")


def test_the_help_page_names_every_kind_of_file() -> None:
    page = " ".join((BASE_DIR / "templates/bible/web/help/bringing-in.html").read_text(encoding="utf-8").split())
    assert f"come in from {formats.ACCEPTED_WORDS}:" in page
    assert f"{pictures.ACCEPTED_WORDS}, up to" in page


def test_several_sheets_are_said() -> None:
    book = workbook(["Subject"], ["Thea"])
    book.create_sheet("More").append(["x"])
    found = read_table(saved(book), "rows.xlsx")
    assert len(found.rows) == 2
    assert "2 sheets" in found.notices[0]


def test_formulas_are_known_by_their_cells() -> None:
    found = read_table(saved(workbook(["Subject", "Code"], ["Thea", '="Y" & "R"'])), "rows.xlsx")
    assert found.rows[1].formulas == {1}


def test_merged_cells_count_for_every_row_and_a_merged_title_for_none() -> None:
    book = workbook(["Subject", "Part"], ["Thea", "coat"], [None, "hair"])
    book.active.merge_cells("A2:A3")  # type: ignore[union-attr]
    found = read_table(saved(book), "rows.xlsx")
    assert [row.cells for row in found.rows] == [("Subject", "Part"), ("Thea", "coat"), ("Thea", "hair")]
    assert "Merged cells (A2:A3)" in found.notices[0]
    titled = workbook(["The whole cast", None], ["Subject", "Part"], ["Thea", "coat"])
    titled.active.merge_cells("A1:B1")  # type: ignore[union-attr]
    found = read_table(saved(titled), "rows.xlsx")
    assert [row.line for row in found.rows] == [2, 3]
    assert "“The whole cast” (line 1)" in found.notices[0]


def test_what_is_no_table() -> None:
    bare = io.BytesIO()
    with zipfile.ZipFile(bare, "w") as packed:
        packed.writestr("../evil.txt", "x")
    cut = saved(workbook(["Subject"], ["Thea"]))
    for data, why in (
        (b"\xd0\xcf\x11\xe0" + b"\0" * 600, "damaged"),
        (bare.getvalue(), "no .xlsx"),
        (cut[: len(cut) // 2], "damaged"),
        (b"Subject\0,Code\n", "no text"),
        (b"\xff\xfeA", "UTF-16"),
        (b'Subject,Code\n"Thea,Y\n', "Line"),
        (b"\x81\x8d\x8f\x01", "encoding"),
    ):
        with pytest.raises(UnreadableTable, match=why):
            read_table(data, "rows.xlsx")


def test_bounds(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(UnreadableTable, match="more than 50,000 rows"):
        read_table(b"Subject\n" + b"Thea\n" * 100_000, "rows.csv")
    with pytest.raises(UnreadableTable, match="columns"):
        read_table(b",".join([b"x"] * 61), "rows.csv")
    with pytest.raises(UnreadableTable, match="2,000 signs"):
        read_table(b"Subject\n" + b"x" * 2_001, "rows.csv")
    with pytest.raises(UnreadableTable, match="10 MB"):
        read_table(b"x" * 10_000_001, "rows.csv")
    monkeypatch.setattr(workbooks, "MOST_UNPACKED", 1_000)
    with pytest.raises(UnreadableTable, match="unpacks"):
        read_table(saved(workbook(["Subject"], ["Thea"])), "rows.xlsx")


def test_a_bomb_of_entities_is_refused() -> None:
    data = saved(workbook(["Subject"], ["Thea"]))
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as source, zipfile.ZipFile(out, "w") as target:
        for name in source.namelist():
            text = source.read(name)
            if name == "xl/workbook.xml":
                text = b'<!DOCTYPE a [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]>' + text.split(b"?>", 1)[-1]
            target.writestr(name, text)
    with pytest.raises(UnreadableTable, match="document type"):
        read_table(out.getvalue(), "rows.xlsx")


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=400) | st.binary(max_size=200).map(lambda tail: b"PK\x03\x04" + tail))
def test_any_bytes_are_a_table_or_are_refused(data: bytes) -> None:
    with contextlib.suppress(UnreadableTable):
        assert all(row.cells for row in read_table(data, "rows").rows)
