"""The hand-off as PDF. Tints stand in it as DeviceCMYK with their own percentages; only the guides are pictures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import IO, Any

from PIL import Image
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.platypus import Flowable, KeepTogether, PageBreak, Spacer

from bible.colour.tints import Tint
from bible.models import Note
from bible.models.naming import name_of
from bible.web.names import counted
from guides.core.labels import runs
from guides.handoff.plates import Plate
from guides.handoff.queries import CodeLine, HandOff, PageSheet, translated_words
from guides.paper.arrows import arrow_head
from guides.paper.crops import crop_around
from guides.paper.fonts import fonts
from guides.paper.page import CAUTION, WHITE, paged
from guides.paper.paragraphs import paragraph
from guides.paper.ruled import BLACK, PaperSwatch, RuledTable
from guides.paper.sizes import A4, Size
from guides.paper.tagging import Element, marked

PIN = 5.5
"""Radius of a numbered mark in points: two figures of 6 point fit in it."""


class GuidePicture(Flowable):
    """The guide as large as the page takes it, with its numbered marks and arrows."""

    def __init__(self, sheet: PageSheet) -> None:
        super().__init__()
        self.sheet = sheet
        marks = counted(len(sheet.lines), "numbered mark")
        self.element = Element(
            "Figure", f"The guide of {sheet.guide}, with {marks}: their codes are in the list below."
        )

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        guide = self.sheet.guide
        scale = min(width / guide.width, (height - 2) / guide.height)
        self.width, self.height = guide.width * scale, guide.height * scale
        return self.width, self.height

    def draw(self) -> None:
        with marked(self.canv, self.element):
            with self.sheet.guide.screen.open("rb") as file:
                self.canv.drawImage(ImageReader(file), 0, 0, self.width, self.height)
            for line in self.sheet.lines:
                self._arrow(line)
            for line in self.sheet.lines:
                self._pin(line)

    def _at(self, x: float, y: float) -> tuple[float, float]:
        return x * self.width, (1 - y) * self.height

    def _arrow(self, line: CodeLine) -> None:
        if line.mark.arrow_end is None:
            return
        start, end = self._at(line.mark.x, line.mark.y), self._at(*line.mark.arrow_end)
        left, right = arrow_head(start, end, 7)
        for colour, width in ((WHITE, 3.2), (BLACK, 1.2)):
            self.canv.setStrokeColor(colour)
            self.canv.setLineWidth(width)
            self.canv.lines([(*start, *end), (*left, *end), (*right, *end)])

    def _pin(self, line: CodeLine) -> None:
        x, y = self._at(line.mark.x, line.mark.y)
        self.canv.setLineWidth(0.8)
        self.canv.setStrokeColor(WHITE if line.is_open else BLACK)
        self.canv.setFillColor(BLACK if line.is_open else WHITE)
        self.canv.circle(x, y, PIN, stroke=1, fill=1)
        self.canv.setFillColor(WHITE if line.is_open else BLACK)
        self.canv.setFont(fonts()[1], 6 if line.number < 100 else 4.6)
        self.canv.drawCentredString(x, y - 2.1, str(line.number))


GOOD_DPI = 300
"""What prints colour without loss (common practice, no source)."""
INCH = 25.4
MOST_ABREAST = 6
"""Guides beside one another on the first page: more would be too small to be told apart."""


class GuideRow(Flowable):
    """Some of the guides, small, with what each is called: where one leafs to."""

    def __init__(self, sheets: Sequence[PageSheet], across: int) -> None:
        super().__init__()
        self.sheets, self.across = sheets, across

    def wrap(self, width: float, _: float) -> tuple[float, float]:
        self.cell = width / self.across
        self.width, self.height = width, self.cell * 1.5 + 16
        return self.width, self.height

    def draw(self) -> None:
        for at, sheet in enumerate(self.sheets):
            guide, left = sheet.guide, at * self.cell
            scale = min((self.cell - 8) / guide.width, (self.height - 16) / guide.height)
            high = guide.height * scale
            with marked(self.canv, Element("Figure", f"The guide of {guide}, small")), guide.thumb.open("rb") as file:
                self.canv.drawImage(ImageReader(file), left, self.height - high, guide.width * scale, high)
            self.canv.setFillColor(BLACK)
            self.canv.setFont(fonts()[1], 8)
            still_open = f", {len(sheet.open_lines)} open" if sheet.open_lines else ""
            with marked(self.canv, Element("Caption")):
                self.canv.drawString(left, self.height - high - 10, f"{guide}{still_open}")


def _leaves(sheets: Sequence[PageSheet]) -> list[Flowable]:
    """All guides at a glance; of one alone there is nothing to leaf through."""
    if len(sheets) < 2:
        return []
    across = min(MOST_ABREAST, max(3, -(-len(sheets) // 2)))
    rows = (sheets[at : at + across] for at in range(0, len(sheets), across))
    return [Spacer(0, 6 * mm), *(GuideRow(row, across) for row in rows)]


def write_pdf(hand_off: HandOff, out: IO[bytes], size: Size = A4) -> None:
    """Write the pack's PDF: a first page for the whole, then each guide with its lists."""
    title = f"{hand_off.series.title}, {hand_off.title}: hand-off"
    document = paged(
        out,
        title=title,
        series=hand_off.series,
        press=hand_off.press,
        made_at=hand_off.made_at,
        state=hand_off.state,
        size=size,
    )
    story = _front(hand_off)
    for sheet in hand_off.pages:
        story += _page(sheet)
    document.write(story)


def _front(hand_off: HandOff) -> list[Flowable]:
    issue = hand_off.issue
    story: list[Flowable] = [
        paragraph(hand_off.series.title, 18, bold=True),
        paragraph(f"Issue {issue.number}{f': {issue.title}' if issue.title else ''}", 13, bold=True),
        paragraph(hand_off.state, 11, bold=True, before=4),
        *([paragraph(hand_off.pack_said, 11, bold=True, before=2)] if hand_off.pack_said else []),
        *_to_know_first(hand_off),
        Spacer(0, 4 * mm),
        *([paragraph(f"Edition: {hand_off.edition}", 13, bold=True)] if hand_off.edition else []),
        paragraph(f"Press condition: {hand_off.press.title} ({hand_off.press.source})", 9),
        paragraph(CAUTION, 9, bold=True),
        paragraph(
            "Swatches are DeviceCMYK with the codes’ own percentages, without dot gain taken off. The guides are "
            "pictures of the paint in sRGB: intent, not ink.",
            9,
        ),
        Spacer(0, 3 * mm),
    ]
    if hand_off.warnings:
        story.append(paragraph("What has come back wrong before", 10, bold=True, before=4))
        story += [paragraph(f"{warning.words}.") for warning in hand_off.warnings]
        story.append(Spacer(0, 3 * mm))
    if hand_off.edition:
        story.append(paragraph(translated_words(hand_off), 10, bold=True, before=4))
    rows = [["Page", "Marks", "Tints", "Open", "Waived", "Scan, pixels"]]
    for sheet in hand_off.pages:
        counts = (len(sheet.lines), len(sheet.codes), len(sheet.open_lines), len(sheet.waived_lines))
        rows.append([str(sheet.guide), *map(str, counts), scan_words(sheet.guide.width, sheet.guide.height)])
    story.append(RuledTable(rows, [40 * mm, *[18 * mm] * 4, 62 * mm]))
    if hand_off.open_count:
        flags = counted(hand_off.open_count, "flag is", "flags are")
        words = f"{flags} open: ask before cutting those plates."
        story.append(paragraph(words, 10, bold=True, before=8))
    return [*story, *_changes(hand_off), *_leaves(hand_off.pages)]


def scan_words(width: int, height: int) -> str:
    """“1200 × 1800 (300 dpi at 102 × 152 mm)”: a scan's pixels, and how large it prints in the usual resolution."""
    wide, high = (round(pixels / GOOD_DPI * INCH) for pixels in (width, height))
    return f"{width} × {height} ({GOOD_DPI} dpi at {wide} × {high} mm)"


def _changes(hand_off: HandOff) -> list[Flowable]:
    """Mark by mark what is not as it was in the pack before."""
    if hand_off.pack is None or not hand_off.pack.changes:
        return []
    rows: list[list[Any]] = [["Page", "Mark", "", "Was", "", "Is", "Part", "What"]]
    for change in hand_off.pack.changes:
        row: list[Any] = [paragraph(change.page), str(change.mark)]
        for there, tint, code in (
            (change.was, change.was_tint, change.was_code),
            (change.now, change.now_tint, change.now_code),
        ):
            row += [PaperSwatch(tint) if there else "", paragraph(code if there else "not there", bold=bool(there))]
        rows.append([*row, paragraph(change.part), paragraph(change.what)])
    table = RuledTable(rows, [wide * mm for wide in (18, 11, 14, 26, 14, 26, 48, 23)])
    return [paragraph(f"Changed: {hand_off.pack.changes_said}", 10, bold=True, before=8), table]


def _to_know_first(hand_off: HandOff) -> list[Flowable]:
    """Whom to ask, and what is not in the pack though the issue is to have it."""
    sentences = [f"Ask: {hand_off.ask}."] if hand_off.ask else []
    if hand_off.missing:
        sentences.append(f"Not in yet: {hand_off.missing_pages}.")
    return [paragraph(words, 9, before=2) for words in sentences]


def _page(sheet: PageSheet) -> list[Flowable]:
    heading = f"Issue {sheet.guide.issue.number}, {sheet.guide}, revision {sheet.guide.revision}"
    story: list[Flowable] = [PageBreak(), paragraph(heading, 11, bold=True), GuidePicture(sheet), PageBreak()]
    story += [paragraph(f"{heading}: codes", 11, bold=True), _codes(sheet)]
    story.append(KeepTogether([paragraph("Plates", 11, bold=True, before=8), _plates(sheet)]))
    for title, lines in (("Open: ask first", sheet.open_lines), ("Waived: meant as written", sheet.waived_lines)):
        if lines:
            story.append(paragraph(title, 11, bold=True, before=8))
            story += [paragraph(f"Mark {line.number}, {line.belongs_to}: {line.state}.") for line in lines]
    story += _unread(sheet)
    if sheet.sinking_said:
        story.append(paragraph("Sinks into its neighbour in print", 11, bold=True, before=8))
    story += [paragraph(f"{sentence[0].upper()}{sentence[1:]}.") for sentence in sheet.sinking_said]
    if sheet.scenes:
        story.append(paragraph("Scenes", 11, bold=True, before=8))
    story += [paragraph(f"{sentence}.") for sentence in sheet.scenes]
    if sheet.notes:
        story.append(paragraph("Holds for this page", 11, bold=True, before=8))
    story += [paragraph(f"{note.text} ({note.run}; {_signed(note)})") for note in sheet.notes]
    if sheet.noted_lines:
        story.append(paragraph("Notes", 11, bold=True, before=8))
    for line in sheet.noted_lines:
        for note in line.notes:
            story.append(paragraph(f"Mark {line.number}: {note.text} ({_signed(note)})"))
    return story


def _unread(sheet: PageSheet) -> list[Flowable]:
    """Codes that nobody could read, as they stand on the guide."""
    lines = [line for line in sheet.lines if line.tint is None]
    if not lines:
        return []
    with sheet.guide.screen.open("rb") as file, Image.open(file) as opened:
        picture = opened.convert("RGB")
    rows: list[list[Any]] = [["No.", "On the guide", "Typed", "Part"]]
    for line in lines:
        crop = crop_around(picture, line.mark.x, line.mark.y, f"Mark {line.number} on the guide, ringed")
        written = paragraph(line.mark.both_written or "nothing")
        rows.append([str(line.number), crop, written, paragraph(line.belongs_to)])
    table = RuledTable(rows, [9 * mm, 24 * mm, 40 * mm, 106 * mm])
    return [paragraph("Not read: ask", 11, bold=True, before=8), table]


def _signed(note: Note) -> str:
    return f"{name_of(note.written_by)}, {note.written_at:%Y-%m-%d}"


def _codes(sheet: PageSheet) -> Flowable:
    if not sheet.lines:
        return paragraph("This page has no marks.")
    rows: list[list[Any]] = [["No.", "", "Code", "Written", "C", "M", "Y", "K", "Part", ""]]
    for line in sheet.lines:
        rows.append(
            [
                str(line.number),
                PaperSwatch(line.tint, line.to_tint),
                paragraph(line.code or "?", 8, bold=True),
                paragraph(line.mark.both_written),
                *_percentages(line),
                paragraph(line.belongs_to),
                paragraph("OPEN", bold=True) if line.is_open else paragraph(_remark(line)),
            ]
        )
    return RuledTable(rows, [9 * mm, 14 * mm, 24 * mm, 24 * mm, *[9 * mm] * 4, 58 * mm, 14 * mm])


def _remark(line: CodeLine) -> str:
    return "waived" if line.waiver else "not as written" if line.instead else ""


def _percentages(line: CodeLine) -> list[str]:
    """Each ink's percentage, “100-25” where it fades."""
    if line.tint is None:
        return ["?"] * 4
    ends = (line.to_tint or line.tint).percentages
    pairs = zip(line.tint.percentages, ends, strict=True)
    return [str(start) if start == end else f"{start}-{end}" for start, end in pairs]


def _plates(sheet: PageSheet) -> Flowable:
    rows: list[list[Any]] = [["Ink", "Strength", "", "Marks"]]
    rows += [_plate(plate) for plate in sheet.plates.plates]
    rows.append(["key", "solid", "", paragraph("the line art")])
    for what, numbers in (("no ink: bare paper", sheet.plates.paper), ("NOT READ: ask", sheet.plates.unread)):
        if numbers:
            rows.append([what, "", "", paragraph(runs(numbers))])
    return RuledTable(rows, [34 * mm, 34 * mm, 14 * mm, 97 * mm])


def _plate(plate: Plate) -> list[Any]:
    ends = [Tint(**{plate.ink: percent}) for percent in (plate.start, plate.end)]
    swatch = PaperSwatch(*ends) if plate.is_fade else PaperSwatch(ends[0])
    return [
        plate.ink_name,
        f"{plate.strength}{', fade' if plate.is_fade else ''}",
        swatch,
        paragraph(runs(plate.numbers)),
    ]
