"""What our PDFs say of themselves, read back by pypdf (github.com/py-pdf/pypdf) and looked over by qpdf's own check
(qpdf.readthedocs.io, ``--check``; through pikepdf)."""

from __future__ import annotations

import datetime as dt
import io
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from django.utils import timezone
from PIL import Image
from pypdf import PdfReader
from reportlab.platypus import Flowable, PageBreak

from bible.colour.press import PressCondition, load
from bible.colour.tints import Tint
from guides.imaging.chart.sheet import SheetLayout
from guides.paper.chart_sheet import write_chart_sheet
from guides.paper.finishing import AboutDocument, finish
from guides.paper.page import paged
from guides.paper.paragraphs import paragraph
from guides.paper.ruled import PaperSwatch, RuledTable
from tests.factories import make_chart_sheet, make_member, make_series
from tests.pdfs import faults_of, filled_rectangles

MADE = dt.datetime(2026, 3, 4, 5, 6, 7, tzinfo=dt.timezone(dt.timedelta(hours=2)))
PRESS = load("coated-fogra39")


class Picture(Flowable):
    def __init__(self, path: Path) -> None:
        super().__init__()
        self.path = path

    def wrap(self, *_: float) -> tuple[float, float]:
        return 40, 40

    def draw(self) -> None:
        self.canv.drawImage(str(self.path), 0, 0, 40, 40)


def document(tmp_path: Path, press: PressCondition = PRESS, **said: Any) -> bytes:
    path = tmp_path / "page.png"
    Image.new("RGB", (30, 30), "#c8a050").save(path)
    out = io.BytesIO()
    series = make_series(title="Ночь & <B>", press=press.name)
    pages = paged(out, title="Hand-off & co", series=series, press=press, made_at=MADE, **said)
    pages.write([paragraph("Words"), PaperSwatch(Tint(25, 50, 100)), Picture(path), Picture(path)])
    return out.getvalue()


@pytest.mark.django_db
def test_a_document_says_its_language_title_dates_and_condition(tmp_path: Path) -> None:
    reader = PdfReader(io.BytesIO(document(tmp_path)))
    root: Any = reader.trailer["/Root"]
    assert root["/Lang"] == "en-GB"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    told = reader.metadata
    assert told
    assert (told.title, told.author, told.subject) == ("Hand-off & co", "Ночь & <B>", PRESS.title)
    assert told.creation_date == told.modification_date == MADE
    (intent,) = root["/OutputIntents"]
    said = intent.get_object()
    assert (said["/S"], said["/OutputConditionIdentifier"]) == ("/GTS_PDFX", "FOGRA39")
    assert said["/RegistryName"] == "http://www.color.org"
    page: Any = reader.pages[0]
    assert page.trimbox == page.mediabox


@pytest.mark.django_db
def test_xmp_says_the_same(tmp_path: Path) -> None:
    told = PdfReader(io.BytesIO(document(tmp_path))).xmp_metadata
    assert told
    assert told.dc_title == {"x-default": "Hand-off & co"}
    assert told.dc_creator == ["Ночь & <B>"]
    assert told.dc_language == ["en-GB"]
    assert told.xmp_create_date == told.xmp_modify_date == MADE.astimezone(dt.UTC).replace(tzinfo=None)
    assert told.pdf_producer == "Series colour bible"


@pytest.mark.django_db
def test_a_picture_says_what_its_rgb_means_and_a_swatch_stays_ink(tmp_path: Path) -> None:
    data = document(tmp_path)
    with pikepdf.open(io.BytesIO(data)) as pdf:
        (picture,) = (
            one for one in pdf.objects if isinstance(one, pikepdf.Stream) and one.get("/Subtype") == "/Image"
        )
        kind, profile = picture.ColorSpace
        assert (kind, profile.N) == ("/ICCBased", 3)
        assert profile.read_bytes()[16:20] == b"RGB "
        assert pikepdf.PdfImage(picture).as_pil_image().convert("RGB").getpixel((5, 5)) == (0xC8, 0xA0, 0x50)
        assert faults_of(pdf) == []
    assert filled_rectangles(PdfReader(io.BytesIO(data))) == [("k", 0.25, 0.5, 1, 0)]


@pytest.mark.django_db
def test_every_font_that_a_page_names_is_in_the_file(tmp_path: Path) -> None:
    """ISO 15930-7, 6.2.5: what is printed from needs no font of the printer's own; and a page says nothing of slides."""
    chart = io.BytesIO()
    series = make_series()
    sheet = make_chart_sheet(series, make_member(series))
    write_chart_sheet(SheetLayout.from_dict(sheet.layout), MADE, chart)
    for data in (document(tmp_path), chart.getvalue()):
        with pikepdf.open(io.BytesIO(data)) as pdf:
            fonts = [
                one for one in pdf.objects if isinstance(one, pikepdf.Dictionary) and one.get("/Type") == "/Font"
            ]
            assert fonts
            for font in fonts:
                assert "/FontFile2" in font.get("/FontDescriptor", {}), font.BaseFont
            assert not any("/Trans" in page for page in pdf.pages)


@pytest.mark.django_db
def test_a_houses_own_condition_is_named_in_words(tmp_path: Path) -> None:
    import dataclasses

    own = dataclasses.replace(PRESS, name="own-paper", title="Our own paper")
    root: Any = PdfReader(io.BytesIO(document(tmp_path, own))).trailer["/Root"]
    (intent,) = root["/OutputIntents"]
    said = intent.get_object()
    assert said["/OutputConditionIdentifier"] == "Custom"
    assert "/RegistryName" not in said
    assert "Our own paper" in said["/Info"]


@pytest.mark.django_db
def test_the_same_pages_are_the_same_bytes_and_say_their_state(tmp_path: Path) -> None:
    first = document(tmp_path, state="NOT SIGNED OFF")
    assert "NOT SIGNED OFF" in PdfReader(io.BytesIO(first)).pages[0].extract_text()
    assert document(tmp_path, state="NOT SIGNED OFF") == first
    assert document(tmp_path) != first


@pytest.mark.django_db
def test_letters_that_are_not_in_the_font_are_named_on_the_last_page() -> None:
    series = make_series(title="River")

    def last_page(*names: str) -> str:
        out = io.BytesIO()
        pages = paged(out, title="Hand-off", series=series, press=PRESS, made_at=MADE)
        pages.write([paragraph("Words"), PageBreak(), RuledTable([["Name"], *[[name] for name in names]], [300.0])])
        return " ".join(PdfReader(io.BytesIO(out.getvalue())).pages[-1].extract_text().split())

    assert "Not set right here" not in last_page("Zoë", "Ada’s coat, – 25 %")
    assert "letters of names (Thai)" in last_page("ภาษา", "渡し守", "علي", "Ada")


def test_what_is_no_pdf_is_not_finished() -> None:
    about = AboutDocument("a", "b", "c", None, timezone.now())
    with pytest.raises(pikepdf.PdfError):
        finish(io.BytesIO(b"no pdf"), io.BytesIO(), about)
