"""Names of every script on paper: what is set is what HarfBuzz says (harfbuzz.github.io, asked by itself here), what is
read back by poppler's ``pdftotext`` is the name in the order in which it is written (ISO 32000-1, 9.10 and 14.9.4;
clause numbers are from memory).

A reader's program does not turn brackets back that stand in words from the right: that is not asked of it.
"""

from __future__ import annotations

import datetime as dt
import io
import os
import re
import shutil
import subprocess
import unicodedata
from pathlib import Path

import pikepdf
import pytest
import uharfbuzz
from reportlab.platypus import Flowable

from bible.colour.press import load
from guides.paper import fonts as house
from guides.paper.canvas import PaperCanvas
from guides.paper.fonts import DEBIAN, fonts, unset_scripts
from guides.paper.page import paged
from guides.paper.paragraphs import paragraph
from guides.paper.ruled import RuledTable, width_of
from guides.paper.scripts import runs, truetype
from tests.factories import make_series
from tests.test_structure import HOUSE

NAMES = {
    "Arabic": "علي الصغير",
    "Persian": "گلناز پژمان",
    "Hebrew": "שרה בת נח",
    "Cyrillic": "Паромщик Ёж",
    "Greek": "Αλέξης",
    "Japanese": "渡し守のコート",
    "Chinese": "汉字",
    "Korean": "한국어",
    "Devanagari": "हिन्दी किताब",
    "Vietnamese, decomposed": unicodedata.normalize("NFD", "Nguyễn"),
}
MADE = dt.datetime(2026, 3, 4, 5, 6, 7, tzinfo=dt.UTC)
ISOLATES = re.compile("[\u200e\u200f\u202a-\u202e]")
"""Signs by which poppler says which way a piece of its text runs."""

needs_poppler = pytest.mark.skipif(
    not (shutil.which("pdftotext") or os.environ.get("REQUIRE_SERVICES")), reason="poppler is not installed"
)


def written(*story: Flowable) -> bytes:
    out = io.BytesIO()
    press = load("newsprint")
    paged(out, title="Names", series=make_series(), press=press, made_at=MADE).write(list(story))
    return out.getvalue()


def read(data: bytes, folder: Path) -> str:
    file = folder / "names.pdf"
    file.write_bytes(data)
    told = subprocess.run(["pdftotext", "-layout", str(file), "-"], check=True, capture_output=True, timeout=60)
    return ISOLATES.sub("", told.stdout.decode())


@needs_poppler
@pytest.mark.django_db
def test_names_are_read_back_as_they_are_written(tmp_path: Path) -> None:
    """In a sentence, in a heading and in a table, each by a way of its own onto the page."""
    table = RuledTable([["Part"], *([name] for name in NAMES.values())], [300.0])
    sentences = [paragraph(f"Mark 3, {name}: coat.") for name in NAMES.values()]
    said = read(written(*sentences, *(paragraph(name, 12, bold=True) for name in NAMES.values()), table), tmp_path)
    for script, name in NAMES.items():
        assert unicodedata.normalize("NFC", said).count(unicodedata.normalize("NFC", name)) == 3, script
        assert f"Mark 3, {unicodedata.normalize('NFC', name)}: coat." in unicodedata.normalize("NFC", said), script
    assert "Not set right here" not in said


@pytest.mark.parametrize("script", ["Arabic", "Persian", "Hebrew", "Devanagari"])
@pytest.mark.parametrize("bold", [False, True])
def test_letters_are_joined_as_harfbuzz_joins_them(script: str, bold: bool) -> None:
    font = truetype(fonts()[bold])
    for word in NAMES[script].split():
        (run,) = runs(word, font.font_of)
        face = truetype(run.font).face
        with open(face.filename, "rb") as file:
            own = uharfbuzz.Font(uharfbuzz.Face(file.read()))
        buffer = uharfbuzz.Buffer()
        buffer.add_str(word)
        buffer.guess_segment_properties()
        uharfbuzz.shape(own, buffer, {"dlig": True})
        assert [face.charToGlyph[ord(sign)] for sign in run.glyphs] == [one.codepoint for one in buffer.glyph_infos]
        apart = [face.charToGlyph[ord(letter)] for letter in word]
        if script != "Hebrew":
            assert [one.codepoint for one in buffer.glyph_infos] not in (apart, apart[::-1]), "nothing was joined"
        wide = sum(one.x_advance for one in buffer.glyph_positions) / own.scale[0] * 1000
        assert run.width == pytest.approx(wide, rel=0.01)


def test_what_is_set_is_as_wide_as_it_was_measured(tmp_path: Path) -> None:
    """By the widths and the shifts that are in the file, which is all that a printer sees (ISO 32000-1, 9.4.4)."""
    for script, name in NAMES.items():
        canvas = PaperCanvas(str(tmp_path / "one.pdf"))
        canvas.setFont(fonts()[0], 10)
        canvas.drawString(0, 0, name)
        canvas.save()
        with pikepdf.open(tmp_path / "one.pdf") as pdf:
            assert set_width(pdf.pages[0]) == pytest.approx(width_of(name, 10), rel=0.01), script


def set_width(page: pikepdf.Page) -> float:
    wide, widths = 0.0, []
    for step in pikepdf.parse_content_stream(page):
        if str(step.operator) == "Tf":
            font = page.obj.Resources.Font[str(step.operands[0])]
            widths = [
                float(one) for one in font.get("/Widths", [])
            ]  # ReportLab begins a page with a font of the printer
        if str(step.operator) in ("Tj", "TJ"):
            pieces = step.operands[0] if str(step.operator) == "TJ" else step.operands
            for piece in pieces:
                if isinstance(piece, pikepdf.String):
                    wide += sum(widths[code] for code in bytes(piece)) / 100
                else:
                    wide -= float(piece) / 100
    return wide


def test_a_line_of_ours_runs_from_the_left_whatever_name_it_begins_with() -> None:
    font = truetype(fonts()[0])
    said = [run.written for run in runs("علي الصغير: coat (12)", font.font_of)]
    assert said == ["الصغير", " ", "علي", ":", " ", "coat", " ", "(12)"]
    said = [run.written for run in runs("(علي) 12", font.font_of)]
    assert said[0] == "12"


@pytest.mark.django_db
def test_what_no_font_has_is_said(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(house, "OTHERS", ())
    house.other_font.cache_clear()
    try:
        assert unset_scripts() == ["Japanese", "Chinese", "Korean", "Devanagari"]
        with pikepdf.open(io.BytesIO(written(paragraph("渡し守 किताब")))) as pdf:
            pages = len(pdf.pages)
        assert pages == 1
        words = read(written(paragraph("渡し守 किताब علي")), tmp_path)
        assert "letters of names (CJK, Devanagari, Hiragana)" in " ".join(words.split())
    finally:
        house.other_font.cache_clear()
        runs.cache_clear()


def test_the_machine_that_tests_has_them_all_and_the_house_names_one_list() -> None:
    """What `.ci/run` and the container install is what the paper looks for."""
    assert unset_scripts() == []
    for path in (".ci/run", ".deploy/Dockerfile", "README.md"):
        assert DEBIAN in (HOUSE / path).read_text(encoding="utf-8"), path
