"""Colour sheets as PDF: swatches are DeviceCMYK with the codes' own percentages, only the crop is a picture.

A single sheet begins with a page for each costume, its figure large; a booklet has one picture a subject, above its
list. The picture is what a lead has chosen, or is cut when it is asked for around the subject's marks on the guide
with most of its parts, so nothing has to be kept in step. An unknown issue is refused in words, since paper outlives
the page. A booklet is set in one pass: its contents are PDF forms used before they are defined.
"""

from __future__ import annotations

import datetime as dt
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import IO

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, PageBreak, Spacer

from bible.colour.gradients import ends_of
from bible.colour.tints import Tint
from guides.booklets.queries import Book, Code, ColourSheet, CostumeBlock, InScene
from guides.booklets.wall_pdf import WallPage, pages_of
from guides.core.crops import Crop, cut_crops
from guides.paper.page import CAUTION, paged
from guides.paper.paragraphs import paragraph
from guides.paper.ruled import HEAD_SIZE, Cell, PaperSwatch, RuledTable, width_of
from guides.paper.sizes import A4, Size
from guides.paper.tagging import Element, marked

PICTURE = (90 * mm, 70 * mm)
PICTURE_PIXELS = 700
"""Long side of the picture: 200 pixels an inch at its printed size, and light enough for a booklet of hundreds."""

PART, CODE, ALSO, SCENE_CODE = 48 * mm, 34 * mm, 30 * mm, 22 * mm
"""Widths of columns."""

SCENES_ACROSS = 4
"""Scenes beside one another on A4; more go into a table below."""

INK_NOTE = "Swatches are DeviceCMYK with the codes’ own percentages, without dot gain taken off."


Pictures = Mapping[Crop, Path]
"""Where each crop lies as a JPEG file; a crop whose guide has no file is not among them."""


@contextmanager
def cut_pictures(book: Book, report: Callable[[int], None] = lambda cut: None) -> Iterator[Pictures]:
    """The book's crops as files for as long as they are drawn; ``report`` hears how many are cut."""
    with tempfile.TemporaryDirectory() as folder:
        pictures = {}
        crops = [sheet.crop for sheet in book.sheets if sheet.crop]
        for at, (crop, data) in enumerate(cut_crops(crops, PICTURE_PIXELS)):
            report(at)
            if data:
                pictures[crop] = Path(folder, f"{at}.jpg")
                pictures[crop].write_bytes(data)
        yield pictures


class CropPicture(Flowable):
    """The crop in its box. A file is taken over as it is: ReportLab would decode a picture from memory once more."""

    def __init__(self, crop: Crop, picture: Path | None) -> None:
        super().__init__()
        self.picture, self.element = picture, Element("Figure", crop.caption)
        width, height = crop.size
        scale = min(PICTURE[0] / width, PICTURE[1] / height)
        self.width, self.height = width * scale, height * scale

    def wrap(self, *_: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        if self.picture:
            with marked(self.canv, self.element):
                self.canv.drawImage(str(self.picture), 0, 0, self.width, self.height)
        else:
            words = paragraph("The picture’s file is missing.")
            words.wrapOn(self.canv, self.width, self.height)
            words.drawOn(self.canv, 0, 0)


def write_sheet(book: Book, made_at: dt.datetime, out: IO[bytes], size: Size = A4) -> None:
    """Write the book's sheets, each on a page of its own, to a binary file."""
    names = ", ".join(sheet.subject.name for sheet in book.sheets)
    title = f"{book.series.title}: {names}, {book.as_of}"
    document = paged(out, title=title, series=book.series, press=book.press, made_at=made_at, size=size)
    with cut_pictures(book) as pictures:
        story = [flowable for sheet in book.sheets for flowable in _illustrated(book, sheet, pictures, document.room)]
        story += [
            Spacer(0, 4 * mm),
            paragraph(f"Press condition: {book.press.title} ({book.press.source})"),
            paragraph(INK_NOTE),
            paragraph(CAUTION, bold=True),
        ]
        document.write(story)


def _illustrated(book: Book, sheet: ColourSheet, pictures: Pictures, room: tuple[float, float]) -> list[Flowable]:
    """A page for each costume that has a figure, and the list of all codes behind them."""
    shown = [page for page in pages_of(book, sheet) if page.figure]
    figures = [flowable for page in shown for flowable in (WallPage(book, page, room), PageBreak())]
    return figures + sheet_story(book, sheet if not shown else replace(sheet, crop=None), pictures)


def sheet_story(book: Book, sheet: ColourSheet, pictures: Pictures) -> list[Flowable]:
    """One subject's list of codes, under its picture."""
    subject = sheet.subject
    story: list[Flowable] = [
        paragraph(subject.name, 18, bold=True),
        paragraph(f"{book.series.kinds.name(subject.kind)}, {book.as_of}", 9),
    ]
    if subject.note:
        story += [paragraph(line, 9) for line in subject.note.splitlines() if line.strip()]
    story += [paragraph(sentence, 9) for sentence in sheet.owning]
    if sheet.crop:
        picture = CropPicture(sheet.crop, pictures.get(sheet.crop))
        story += [Spacer(0, 2 * mm), KeepTogether([picture, paragraph(sheet.crop.caption, 7)])]
    for block in sheet.costumes:
        story += _costume(block, book)
    if not sheet.costumes:
        story.append(paragraph("No costume yet.", before=6))
    story += _scenes(book, sheet)
    if sheet.code_count and book.also_written:
        story.append(paragraph(f"Also written: {'; '.join(book.also_written)}.", before=6))
    return story


def _percentages(code: Code) -> list[str]:
    """Of each ink; a gradient's from one end to the other."""
    start, end = ends_of(code.locked)
    pairs = zip(start.percentages, (end or start).percentages, strict=True)
    return [str(a) if a == b else f"{a}–{b}" for a, b in pairs]


def _costume(block: CostumeBlock, book: Book) -> list[Flowable]:
    worn = f"{block.name} (worn {block.worn}{'' if block.in_use else f'; not {book.as_of}'})"
    heading = paragraph(worn, 11, bold=True, before=8)
    rows: list[list[Cell]] = [["Part", "Role", "", "Code", "C", "M", "Y", "K", "Also written"]]
    for part in block.parts:
        if not part.codes:
            rows.append([_cell(part.name, PART), "", PaperSwatch(None), "nothing locked", "", "", "", "", ""])
        for at, code in enumerate(part.codes):
            rows.append(
                [
                    _cell(part.name, PART) if at == 0 else "",
                    code.role_name,
                    PaperSwatch(*ends_of(code.locked)),
                    _cell(code.written, CODE),
                    *_percentages(code),
                    _cell(", ".join(code.also), ALSO),
                ]
            )
    if len(rows) == 1:
        return [heading, paragraph("No part yet.")]
    table = RuledTable(rows, [PART, 18 * mm, 14 * mm, CODE, *[9 * mm] * 4, ALSO], bold=(0, 3))
    return [KeepTogether([heading, table])]


def _cell(words: str, wide: float) -> Cell:
    """The words as they are where they fit on one line: those are set several times as fast."""
    return words if width_of(words, bold=True) < wide - 2 * mm else paragraph(words, bold=True)


def _scenes(book: Book, sheet: ColourSheet) -> list[Flowable]:
    if not sheet.scene_rows:
        return []
    story: list[Flowable] = []
    for first in range(0, len(book.scenes), SCENES_ACROSS):
        across = range(first, min(first + SCENES_ACROSS, len(book.scenes)))
        head: list[Cell] = ["Code", ""]
        for at in across:
            head += [_scene_name(book.scenes[at].scene.name), ""]
        rows = [head]
        for row in sheet.scene_rows:
            line = _tint(book, row.tint)
            for at in across:
                line += _shifted(book, row.becomes[at])
            rows.append(line)
        heading = paragraph("In scenes, as they stand today", 11, bold=True, before=8)
        columns = 1 + len(across)
        table = RuledTable(rows, [SCENE_CODE, 14 * mm] * columns, bold=range(0, 2 * columns, 2))
        held = [book.scenes[at] for at in across if book.scenes[at].words]
        sentences = [paragraph(f"{light.scene.name} falls on {light.words}.", 8) for light in held]
        story.append(KeepTogether([heading, table, *sentences]))
    return story


def _scene_name(name: str) -> Cell:
    return name if width_of(name, HEAD_SIZE) < SCENE_CODE - 2 * mm else paragraph(name, HEAD_SIZE)


def _shifted(book: Book, in_scene: InScene) -> list[Cell]:
    if in_scene.tint is None:
        return ["stays", ""]
    words, swatch = _tint(book, in_scene.tint)
    return [
        paragraph(f"{book.series.write(in_scene.tint)} on {', '.join(in_scene.on)}", 8) if in_scene.on else words,
        swatch,
    ]


def _tint(book: Book, tint: Tint | None) -> list[Cell]:
    return [_cell(book.series.write(tint), SCENE_CODE), PaperSwatch(tint)] if tint else ["", ""]
