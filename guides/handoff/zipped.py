"""The hand-off as one zip: the PDF, the lists as CSV, the marks as annotations, the numbered guides."""

from __future__ import annotations

import io
import json
import zipfile
from typing import IO

from PIL import Image, ImageDraw, ImageFont

from bible.web.names import counted
from guides.core.labels import file_name
from guides.handoff.annotations import collection
from guides.handoff.exports import changes_csv, codes_csv, marks_csv, neighbours_csv, notes_csv, plates_csv
from guides.handoff.pdf import write_pdf
from guides.handoff.queries import HandOff, PageSheet, translated_words
from guides.paper.arrows import arrow_head
from guides.paper.page import CAUTION
from guides.paper.sizes import A4, Size

JPEG_QUALITY = 88


def write_zip(hand_off: HandOff, base: str, out: IO[bytes], size: Size = A4) -> None:
    """Write the pack; ``base`` is the series' address, for the annotations."""
    name, stamp = hand_off.name, hand_off.made_at.timetuple()[:6]
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as pack:

        def add(file: str, data: bytes | str, *, packed: bool = True) -> None:
            info = zipfile.ZipInfo(f"{name}/{file}", stamp)
            info.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
            pack.writestr(info, data)

        pdf = io.BytesIO()
        write_pdf(hand_off, pdf, size)
        add("read-me.txt", _read_me(hand_off))
        add("hand-off.pdf", pdf.getvalue())
        add("codes.csv", codes_csv(hand_off))
        add("changes.csv", changes_csv(hand_off))
        add("plates.csv", plates_csv(hand_off))
        add("notes.csv", notes_csv(hand_off))
        add("neighbours.csv", neighbours_csv(hand_off))
        add("marks.csv", marks_csv(hand_off))
        add("marks.jsonld", json.dumps(collection(hand_off, base), ensure_ascii=False, indent=1))
        for number, sheet in enumerate(hand_off.pages, 1):
            add(f"guides/{number:02}-{file_name(sheet.guide.page)}.jpg", numbered_picture(sheet), packed=False)


def _read_me(hand_off: HandOff) -> str:
    return "\n".join(
        [
            f"{hand_off.series.title}, {hand_off.title}: hand-off",
            f"Made {hand_off.made_at:%Y-%m-%d %H:%M %Z}",
            hand_off.state,
            *([hand_off.pack_said] if hand_off.pack_said else []),
            *([f"Ask: {hand_off.ask}"] if hand_off.ask else []),
            *([f"Not in yet: {hand_off.missing_pages}"] if hand_off.missing else []),
            f"Press condition: {hand_off.press.title} ({hand_off.press.source})",
            f"{counted(len(hand_off.pages), 'page')}, {counted(hand_off.mark_count, 'mark')}, "
            f"{counted(hand_off.open_count, 'open flag')}, "
            f"{hand_off.waived_count} waived.",
            *([translated_words(hand_off)] if hand_off.edition else []),
            "",
            CAUTION,
            "",
            *[f"Has come back wrong before: {warning.words}." for warning in hand_off.warnings],
            *([""] if hand_off.warnings else []),
            "hand-off.pdf   guides with numbered marks, codes, plates, notes, what is open; swatches in DeviceCMYK",
            "codes.csv      each tint of a page with its marks",
            "changes.csv    what has changed since the pack before",
            "plates.csv     each ink and strength with its marks; the key plate is the line art",
            "notes.csv      what holds for whole pages, and what was written beside marks",
            "neighbours.csv areas that touch and print look-alike, with those that a lead has waived",
            "marks.csv      every mark; x and y are fractions of the page from its top left corner",
            "marks.jsonld   the same as W3C Web Annotations",
            "guides/        the guides with their numbers, for looking at",
            "",
        ]
    )


def numbered_picture(sheet: PageSheet) -> bytes:
    """The guide's screen picture with its marks' numbers and arrows on it, as JPEG."""
    with sheet.guide.screen.open("rb") as file, Image.open(file) as opened:
        picture = opened.convert("RGB")
    width, height = picture.size
    radius = max(width, height) / 110
    pen = ImageDraw.Draw(picture)
    font = ImageFont.load_default(radius * 1.15)
    for line in sheet.lines:
        x, y = line.mark.x * width, line.mark.y * height
        if line.mark.arrow_end:
            end = (line.mark.arrow_end[0] * width, line.mark.arrow_end[1] * height)
            left, right = arrow_head((x, y), end, radius * 1.6)
            for colour, thick in (("white", radius / 2), ("black", radius / 5)):
                for start in ((x, y), left, right):
                    pen.line((start, end), fill=colour, width=max(1, round(thick)))
        back, front = ("black", "white") if line.is_open else ("white", "black")
        pen.ellipse((x - radius, y - radius, x + radius, y + radius), fill=back, outline=front, width=2)
        pen.text((x, y), str(line.number), fill=front, font=font, anchor="mm")
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=JPEG_QUALITY)
    return out.getvalue()
