"""Colour sheets as PDF: swatches are DeviceCMYK with the codes' own percentages, only the crop is a picture."""

from __future__ import annotations

import datetime as dt
import io
from typing import IO, Any

from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import Flowable, KeepTogether, Paragraph, Spacer, Table, TableStyle

from bible.colour.tints import Tint
from guides.colour_sheets.crops import Crop, crop_jpeg
from guides.colour_sheets.sheets import Book, CostumeBlock, Sheet
from guides.handoff.pdf import Swatch, fonts, paged, paragraph, ruled_table
from guides.handoff.sheets import CAUTION

PICTURE = (90 * mm, 70 * mm)
PICTURE_PIXELS = 700
"""Long side of the picture: 200 pixels an inch at its printed size, and light enough for a booklet of hundreds."""

PART, CODE, ALSO, SCENE_CODE = 48 * mm, 34 * mm, 30 * mm, 22 * mm
"""Widths of columns."""

SCENES_ACROSS = 4
"""Scenes beside one another on A4; more go into a table below."""

INK_NOTE = "Swatches are DeviceCMYK with the codes’ own percentages, without dot gain taken off."


class CropPicture(Flowable):
    """The crop in its box, cut from the guide when its page is drawn, so that one picture at a time is in memory."""

    def __init__(self, crop: Crop) -> None:
        super().__init__()
        self.crop = crop
        width, height = crop.size
        scale = min(PICTURE[0] / width, PICTURE[1] / height)
        self.width, self.height = width * scale, height * scale

    def wrap(self, *_: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        data = crop_jpeg(self.crop, PICTURE_PIXELS)
        if data:
            self.canv.drawImage(ImageReader(io.BytesIO(data)), 0, 0, self.width, self.height)
        else:
            words = paragraph("The guide’s file is missing.")
            words.wrapOn(self.canv, self.width, self.height)
            words.drawOn(self.canv, 0, 0)


def write_sheet(book: Book, made_at: dt.datetime, out: IO[bytes]) -> None:
    """Write the book's sheets, each on a page of its own, to a binary file."""
    names = ", ".join(sheet.subject.name for sheet in book.sheets)
    title = f"{book.series.title}: {names}, {book.as_of}"
    document = paged(out, title=title, series=book.series, press=book.press, made_at=made_at)
    story = [flowable for sheet in book.sheets for flowable in sheet_story(book, sheet)]
    story += [
        Spacer(0, 4 * mm),
        paragraph(f"Press condition: {book.press.title} ({book.press.source})"),
        paragraph(INK_NOTE),
        paragraph(CAUTION, bold=True),
    ]
    document.build(story)


def sheet_story(book: Book, sheet: Sheet) -> list[Flowable]:
    """One subject's sheet."""
    subject = sheet.subject
    story: list[Flowable] = [
        paragraph(subject.name, 18, bold=True),
        paragraph(f"{subject.get_kind_display()}, {book.as_of}", 9),
    ]
    if subject.note:
        story += [paragraph(line, 9) for line in subject.note.splitlines() if line.strip()]
    if sheet.crop:
        caption = f"From the guide of {sheet.crop.where}: paint, not ink."
        story += [Spacer(0, 2 * mm), KeepTogether([CropPicture(sheet.crop), paragraph(caption, 7)])]
    for block in sheet.costumes:
        story += _costume(block, book)
    if not sheet.costumes:
        story.append(paragraph("No costume yet.", before=6))
    story += _scenes(book, sheet)
    if sheet.code_count and book.also_written:
        story.append(paragraph(f"Also written: {'; '.join(book.also_written)}.", before=6))
    return story


def _costume(block: CostumeBlock, book: Book) -> list[Flowable]:
    worn = f"{block.name} (worn {block.worn}{'' if block.in_use else f'; not {book.as_of}'})"
    heading = paragraph(worn, 11, bold=True, before=8)
    rows: list[list[Any]] = [["Part", "Role", "", "Code", "C", "M", "Y", "K", "Also written"]]
    for part in block.parts:
        if not part.codes:
            rows.append([_cell(part.name, PART), "", Swatch(None), "nothing locked", "", "", "", "", ""])
        for at, code in enumerate(part.codes):
            rows.append(
                [
                    _cell(part.name, PART) if at == 0 else "",
                    code.role_name,
                    Swatch(code.tint),
                    _cell(code.written, CODE),
                    *map(str, code.tint.percentages),
                    _cell(", ".join(code.also), ALSO),
                ]
            )
    if len(rows) == 1:
        return [heading, paragraph("No part yet.")]
    table = _with_bold(ruled_table(rows, [PART, 18 * mm, 14 * mm, CODE, *[9 * mm] * 4, ALSO]), [3])
    return [KeepTogether([heading, table])]


def _cell(words: str, wide: float) -> Paragraph | str:
    """The words as they are where they fit on one line: tables of plain text are set several times as fast."""
    return words if stringWidth(words, fonts()[1], 8) < wide - 2 * mm else paragraph(words, bold=True)


def _with_bold(table: Table, columns: list[int]) -> Table:
    table.setStyle(TableStyle([("FONT", (at, 1), (at, -1), fonts()[1], 8) for at in columns]))
    return table


def _scenes(book: Book, sheet: Sheet) -> list[Flowable]:
    if not sheet.scene_rows:
        return []
    story: list[Flowable] = []
    for first in range(0, len(book.scenes), SCENES_ACROSS):
        across = range(first, min(first + SCENES_ACROSS, len(book.scenes)))
        head: list[Any] = ["Code", ""]
        for at in across:
            head += [paragraph(book.scenes[at].name, 7), ""]
        rows = [head]
        for row in sheet.scene_rows:
            line = _tint(book, row.tint)
            for at in across:
                line += _tint(book, row.becomes[at]) if row.becomes[at] else ["stays", ""]
            rows.append(line)
        heading = paragraph("In scenes, as they stand today", 11, bold=True, before=8)
        table = ruled_table(rows, [SCENE_CODE, 14 * mm] * (1 + len(across)))
        story.append(KeepTogether([heading, _with_bold(table, list(range(0, 2 + 2 * len(across), 2)))]))
    return story


def _tint(book: Book, tint: Tint | None) -> list[Any]:
    return [_cell(book.series.write(tint), SCENE_CODE), Swatch(tint)] if tint else ["", ""]
