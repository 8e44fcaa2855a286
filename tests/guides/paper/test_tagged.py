"""PDFs that people read say what their words are: the structure tree, walked with pikepdf, requirement by requirement
(ISO 32000-1:2008, 14.6 to 14.8; clause numbers are from memory), and read by poppler (``pdfinfo -struct-text``), which
had no part in writing it. No validator of a standard for accessible PDF had a say."""

from __future__ import annotations

import io
import os
import re
import shutil
import subprocess
from collections import Counter
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from reportlab.platypus import PageBreak

from bible.colour.press import load
from bible.colour.tints import Tint
from guides.paper.page import paged
from guides.paper.paragraphs import paragraph
from guides.paper.ruled import PaperSwatch, RuledTable
from tests.factories import make_series
from tests.guides.paper.every import every_pdf
from tests.guides.paper.test_names import ISOLATES, MADE

NOT_READ = {"chart-sheet"}
"""Printed, scanned and measured: nobody reads it."""

SHOWS = {"Tj", "TJ", "'", '"', "Do", "f", "f*", "F", "B", "B*", "b", "S", "s", "sh", "BI"}
"""Operators that put something on the page (annex A)."""

Place = tuple[int, int]


@pytest.fixture
def read(db: None) -> dict[str, pikepdf.Pdf]:
    return {name: pikepdf.open(io.BytesIO(data)) for name, data in every_pdf().items() if name not in NOT_READ}


def drawn(page: pikepdf.Page) -> Iterator[tuple[str, int | None]]:
    """Each operator that shows something, with the number of what it is in; -1 for an artifact, None for neither."""
    within: list[int | None] = []
    for step in pikepdf.parse_content_stream(page):
        operator, operands = str(step.operator), step.operands
        if operator == "BMC":
            within.append(-1 if operands[0] == "/Artifact" else None)
        elif operator == "BDC":
            number = operands[1].get("/MCID")
            within.append(None if number is None else int(number))
        elif operator == "EMC":
            within.pop()
        elif operator in SHOWS:
            yield operator, next((one for one in reversed(within) if one is not None), None)
    assert not within, "a mark is left open"


def elements(tree: Any) -> Iterator[Any]:
    """Every element in the order of the tree, which is the order of reading (14.8.2.3.1)."""
    yield tree
    for kid in kids(tree):
        if isinstance(kid, pikepdf.Dictionary) and kid.get("/Type") != "/MCR":
            assert kid.P.objgen == tree.objgen
            yield from elements(kid)


def kids(tree: Any) -> list[Any]:
    held = tree.get("/K", [])
    return list(held) if isinstance(held, pikepdf.Array | list) else [held]


def places(pdf: pikepdf.Pdf, element: Any) -> list[Place]:
    """Page and number of what the element itself owns."""
    pages = {page.obj.objgen: at for at, page in enumerate(pdf.pages)}
    own = []
    for kid in kids(element):
        if isinstance(kid, int):
            own.append((pages[element.Pg.objgen], kid))
        elif kid.get("/Type") == "/MCR":
            own.append((pages[kid.Pg.objgen], int(kid.MCID)))
    return own


def test_each_says_that_it_is_tagged(read: dict[str, pikepdf.Pdf]) -> None:
    assert {"hand-off-file", "booklet", "continuity-report-pdf", "issue-corrections", "colour-sheet-pdf"} <= set(read)
    for name, pdf in read.items():
        assert pdf.Root.MarkInfo.Marked is True, name
        assert pdf.Root.StructTreeRoot.K.S == "/Document", name
        assert all(page.obj.Tabs == "/S" for page in pdf.pages), name
        assert pdf.Root.ViewerPreferences.DisplayDocTitle is True, name


def test_all_that_is_drawn_is_an_elements_or_an_artifact(read: dict[str, pikepdf.Pdf]) -> None:
    """14.7.4 and 14.8.2.2; and the way back from a page to who owns its marks (14.7.4.4)."""
    for name, pdf in read.items():
        owned = Counter(place for one in elements(pdf.Root.StructTreeRoot.K) for place in places(pdf, one))
        assert set(owned.values()) == {1}, name
        back = pdf.Root.StructTreeRoot.ParentTree.Nums
        ways = {int(back[at]): back[at + 1] for at in range(0, len(back), 2)}
        seen = set()
        for at, page in enumerate(pdf.pages):
            for operator, number in drawn(page):
                assert number is not None, (name, at, operator)
                seen |= {(at, number)} if number >= 0 else set()
            owners: Any = ways.get(int(page.obj.StructParents), [])
            assert all((at, number) in places(pdf, owner) for number, owner in enumerate(owners)), name
        assert seen == set(owned), name


def test_it_is_read_in_the_order_of_the_pages(read: dict[str, pikepdf.Pdf]) -> None:
    for name, pdf in read.items():
        order = [place for one in elements(pdf.Root.StructTreeRoot.K) for place in places(pdf, one)]
        assert order == sorted(order), name


def test_tables_have_a_head_and_whole_rows(read: dict[str, pikepdf.Pdf]) -> None:
    """14.8.4.3.4."""
    tables = 0
    for name, pdf in read.items():
        for table in (one for one in elements(pdf.Root.StructTreeRoot.K) if one.S == "/Table"):
            tables += 1
            rows = [[str(cell.S) for cell in kids(row)] for row in kids(table)]
            assert set(rows[0]) == {"/TH"}, name
            assert all(set(row) == {"/TD"} for row in rows[1:]), name
            assert len({len(row) for row in rows}) == 1, name
    assert tables > 10


def test_figures_say_what_they_show_and_headings_pass_over_no_level(read: dict[str, pikepdf.Pdf]) -> None:
    """14.9.3 and 14.8.4.3.2."""
    figures = Counter[str]()
    for name, pdf in read.items():
        levels = [0]
        for one in elements(pdf.Root.StructTreeRoot.K):
            if one.S == "/Figure":
                figures[name] += 1
                assert len(str(one.Alt)) > 5, name
            if re.fullmatch(r"/H\d", str(one.S)):
                levels.append(int(str(one.S)[2]))
        assert len(levels) > 1, name
        assert all(after <= before + 1 for before, after in pairwise(levels)), name
    assert {"hand-off-file", "colour-sheet-pdf", "booklet"} <= set(figures)


def long_table() -> bytes:
    out = io.BytesIO()
    pages = paged(out, title="Long", series=make_series(), press=load("newsprint"), made_at=MADE)
    long = paragraph("words of a note " * 800)
    head = [paragraph("Part"), "", [paragraph("Code")]]
    rows: list[list[Any]] = [head, *([f"part-{at}", PaperSwatch(Tint(c=25)), paragraph("B2")] for at in range(150))]
    pages.write([paragraph("Long", 18, bold=True), long, PageBreak(), RuledTable(rows, [200.0, 60.0, 60.0])])
    return out.getvalue()


@pytest.mark.django_db
def test_what_goes_on_over_pages_is_told_once() -> None:
    with pikepdf.open(io.BytesIO(long_table())) as pdf:
        told = list(elements(pdf.Root.StructTreeRoot.K))
        assert Counter(str(one.S) for one in told)["/Table"] == 1
        (heading, long, table) = kids(told[0])
        assert (heading.S, long.S) == ("/H1", "/P")
        assert len({page for page, _ in places(pdf, long)}) == len(places(pdf, long)) > 1
        assert [len(kids(row)) for row in kids(table)] == [3] * 151
        assert all(number is not None for page in pdf.pages for _, number in drawn(page))


@pytest.mark.skipif(
    not (shutil.which("pdfinfo") or os.environ.get("REQUIRE_SERVICES")), reason="poppler is not installed"
)
@pytest.mark.django_db
def test_poppler_reads_the_tree_as_the_page_stands(tmp_path: Path) -> None:
    """Each word that is on the pages and not at their foot, in that order."""
    for name, data in {**every_pdf(), "long": long_table()}.items():
        if name in {"chart-sheet", "booklet"}:  # the booklet's contents are one thing to poppler, without words
            continue
        (tmp_path / "one.pdf").write_bytes(data)
        told = poppler("pdfinfo", "-struct-text", str(tmp_path / "one.pdf"))
        said = "".join(re.findall(r'^ *"(.*)"$', told, re.MULTILINE))
        pages = poppler("pdftotext", "-raw", str(tmp_path / "one.pdf"), "-").split("\f")
        again = "".join("".join(map(without_foot, pages)).split())
        if name == "long":  # its table's head stands on every page, and is told once
            again = again.replace("PartCode", "").replace("part-0", "PartCodepart-0", 1)
        assert "".join(said.split()) == again, name
        assert name != "long" or said.count("words of a note ") >= 799, "where a line ends a word does"


FOOT = re.compile(r".* · made 20\d\d.*|Press condition: .* proof decides\.|NOT SIGNED OFF")


def without_foot(page: str) -> str:
    """The foot is drawn first."""
    lines = page.splitlines()
    while lines and FOOT.fullmatch(lines[0]):
        lines.pop(0)
    return "\n".join(lines)


def poppler(*words: str) -> str:
    done = subprocess.run(words, check=True, capture_output=True, timeout=60)
    return ISOLATES.sub("", done.stdout.decode())
