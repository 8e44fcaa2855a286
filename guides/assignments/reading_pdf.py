"""What to read for some pages, on paper: one table a subject, codes beside their inks."""

from __future__ import annotations

import datetime as dt
from typing import IO

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether

from bible.colour.gradients import ends_of
from bible.models.naming import name_of
from guides.assignments.reading import CostumeToRead, PagesToRead, SubjectToRead
from guides.paper.page import CAUTION, paged
from guides.paper.paragraphs import paragraph
from guides.paper.ruled import Cell, PaperSwatch, RuledTable
from guides.paper.sizes import A4, Size

WIDTHS = (38 * mm, 18 * mm, 14 * mm, 28 * mm, 82 * mm)
PAGE_WIDTHS = (24 * mm, 44 * mm, 34 * mm, 78 * mm)


def write_to_read(sheet: PagesToRead, made_at: dt.datetime, out: IO[bytes], size: Size = A4) -> None:
    """Write the sheet to a binary file."""
    title = f"{sheet.series.title}: to read for issue {sheet.issue.number}, pages {sheet.pages_words}"
    document = paged(out, title=title, series=sheet.series, press=sheet.book.press, made_at=made_at, size=size)
    story = [
        paragraph(f"Issue {sheet.issue.number}: {sheet.pages_words}", 16, bold=True),
        paragraph(f"{sheet.series.title}. What to read before these pages are coloured.", 9),
        *_pages(sheet),
        *_notes(sheet),
    ]
    for chapter in sheet.chapters:
        story.append(paragraph(chapter.title, 11, bold=True, before=8))
        for subject in chapter.subjects:
            story += _subject(subject)
    if not sheet.chapters:
        story.append(paragraph("Nobody is marked in this issue or in those before it.", before=8))
    if sheet.book.also_written:
        story.append(paragraph(f"Also written: {'; '.join(sheet.book.also_written)}.", before=6))
    document.write([*story, paragraph(CAUTION, bold=True, before=8)])


def _pages(sheet: PagesToRead) -> list[Flowable]:
    if not sheet.given:
        return []
    rows: list[list[Cell]] = [["Page", "To be in by", "State", "Note"]]
    for page in sheet.given:
        due = f"{page.assignment.due:%-d %B %Y}" if page.assignment.due else "no day said"
        late = f", {page.days_late} days late" if page.is_late else ""
        rows.append([page.assignment.page, due, f"{page.state}{late}", paragraph(page.assignment.note)])
    return [RuledTable(rows, PAGE_WIDTHS)]


def _notes(sheet: PagesToRead) -> list[Flowable]:
    story: list[Flowable] = []
    for name, pages, note in sheet.scenes:
        story.append(paragraph(f"Scene {name} holds on {pages}. {note}", 9, before=3))
    for page_note in sheet.notes:
        story.append(paragraph(f"{page_note.run}: {page_note.text} ({name_of(page_note.written_by)})", 9, before=3))
    return [paragraph("Notes", 11, bold=True, before=8), *story] if story else []


def _subject(subject: SubjectToRead) -> list[Flowable]:
    sheet = subject.sheet
    head: list[Flowable] = [paragraph(sheet.subject.name, 10, bold=True, before=6)]
    if sheet.subject.note:
        head.append(paragraph(sheet.subject.note))
    if not subject.costumes:
        return [KeepTogether([*head, paragraph("No costume is worn in this issue.")])]
    tables = [_costume(costume) for costume in subject.costumes]
    return [KeepTogether([*head, *tables[0]]), *(flowable for table in tables[1:] for flowable in table)]


def _costume(costume: CostumeToRead) -> list[Flowable]:
    rows: list[list[Cell]] = [[costume.costume.name, "Role", "", "Code", "Mind"]]
    for line in costume.parts:
        remarks = (*(f"before: {slip}" for slip in line.slips), *line.notes)
        mind: list[Flowable] = [paragraph(words) for words in remarks]
        for at, code in enumerate(line.part.codes):
            also = f" (or {', '.join(code.also)})" if code.also else ""
            first = at == 0
            rows.append(
                [
                    paragraph(line.part.name, bold=True) if first else "",
                    code.role_name,
                    PaperSwatch(*ends_of(code.locked)),
                    paragraph(f"{code.written}{also}", bold=True),
                    mind if first else "",
                ]
            )
        if not line.part.codes:
            rows.append([paragraph(line.part.name, bold=True), "", PaperSwatch(None), "nothing locked", mind])
    return [RuledTable(rows, WIDTHS)]
