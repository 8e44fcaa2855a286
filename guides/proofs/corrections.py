"""The correction sheet: per page, what the separator is to put right. Swatches are DeviceCMYK, as in the hand-off."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import IO, Any

from django.utils.text import capfirst
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Spacer

from bible.colour.press import PressCondition
from bible.colour.tints import INK_NAMES, Tint
from bible.models import Issue, Series
from bible.models.naming import name_of
from bible.series.presses import printed_on
from bible.web.names import counted
from guides.core.labels import PLATE_ORDER, percentage
from guides.models import Proof, ProofReading
from guides.paper.crops import crop_around
from guides.paper.page import paged
from guides.paper.paragraphs import paragraph
from guides.paper.ruled import PaperSwatch, RuledTable
from guides.paper.sizes import A4, Size


@dataclass(frozen=True, slots=True)
class CorrectionPage:
    proof: Proof
    faults: tuple[ProofReading, ...]
    undecided: int


@dataclass(frozen=True, slots=True)
class CorrectionSheet:
    series: Series
    issue: Issue
    press: PressCondition
    pages: tuple[CorrectionPage, ...]

    @property
    def fault_count(self) -> int:
        return sum(len(page.faults) for page in self.pages)


def correction_sheet(issue: Issue, proofs: list[Proof]) -> CorrectionSheet:
    """What was accepted as faults on these proofs, in as many queries whatever their number."""
    faults: dict[int, list[ProofReading]] = {proof.pk: [] for proof in proofs}
    open_counts = {proof.pk: 0 for proof in proofs}
    readings = ProofReading.objects.filter(proof__in=proofs)
    for reading in readings.faults().with_names().in_page_order():
        faults[reading.proof_id].append(reading)
    for key in readings.undecided().values_list("proof_id", flat=True):
        open_counts[key] += 1
    pages = tuple(CorrectionPage(proof, tuple(faults[proof.pk]), open_counts[proof.pk]) for proof in proofs)
    return CorrectionSheet(issue.series, issue, printed_on(issue), pages)


def plate_words(reading: ProofReading) -> str:
    """What to do plate by plate: “cyan: 25 % for 50 %”; empty where plates can't tell it."""
    if reading.called_to is not None:
        return "as a fade, not a step" if reading.verdict == "gradient_step" else ""
    called, printed = reading.called, reading.printed
    if not isinstance(called, Tint) or not isinstance(printed, Tint):
        return ""
    plates = []
    for ink in PLATE_ORDER:
        has, wants = getattr(printed, ink), getattr(called, ink)
        if has != wants:
            plates.append(f"{INK_NAMES[ink]}: {percentage(wants)}, prints like {percentage(has)}")
    return "; ".join(plates)


def decided_words(reading: ProofReading) -> str:
    """Whom to ask and how: “Decided by Thea Vane (thea@example.org), 2026-11-29”."""
    if reading.decided_by is None or reading.decided_at is None:
        return ""
    reached = f" ({reading.decided_by.email})" if reading.decided_by.email else ""
    return f"Decided by {name_of(reading.decided_by)}{reached}, {reading.decided_at:%Y-%m-%d}."


def write_corrections(sheet: CorrectionSheet, made_at: dt.datetime, out: IO[bytes], size: Size = A4) -> None:
    """Write the sheet as PDF; every page names the press condition."""
    title = f"{sheet.series.title}, issue {sheet.issue.number}: corrections"
    document = paged(out, title=title, series=sheet.series, press=sheet.press, made_at=made_at, size=size)
    many = counted(sheet.fault_count, "fault")
    story: list[Flowable] = [
        paragraph(title, 15, bold=True),
        paragraph(
            f"{many} to put right. A scan is no measurement: look at the proof itself before cutting.",
            9,
        ),
        Spacer(0, 3 * mm),
    ]
    for page in sheet.pages:
        story += _page(page)
    if not sheet.pages:
        story.append(paragraph("No proof has been read.", 9))
    document.write(story)


def _page(page: CorrectionPage) -> list[Flowable]:
    proof = page.proof
    heading = f"{capfirst(str(proof.guide))}: {proof}, against guide revision {proof.guide.revision}"
    story: list[Flowable] = [paragraph(heading, 11, bold=True, before=8)]
    if proof.run:
        story.append(paragraph(f"Printed in the run “{proof.run.run}”, read against its scanned chart."))
    if proof.shift_said:
        story.append(paragraph(f"Press: {proof.shift_said}."))
    if page.undecided:
        story.append(paragraph(f"{page.undecided} more named by the program, not decided on: not in this list."))
    if not page.faults:
        return [*story, paragraph("Nothing to put right.")]
    pictures = _Pictures(proof)
    rows: list[list[Any]] = [["No.", "Guide", "Proof", "Called", "", "Prints like", "", "What to do"]]
    series = proof.series
    for reading in page.faults:
        called = [series.write(tint) for tint in (reading.called, reading.called_to) if isinstance(tint, Tint)]
        printed = reading.printed if isinstance(reading.printed, Tint) else None
        part = reading.mark.part
        sentences = [part.full_name if part else "background", f"{reading.said}.", plate_words(reading), reading.note]
        sentences.append(decided_words(reading))
        rows.append(
            [
                str(reading.mark.number),
                *pictures.crops(reading),
                PaperSwatch(
                    reading.called if isinstance(reading.called, Tint) else None,
                    reading.called_to if isinstance(reading.called_to, Tint) else None,
                ),
                paragraph(" > ".join(called) or "?", 8, bold=True),
                PaperSwatch(printed),
                paragraph(series.write(printed) if printed else "?", 8, bold=True),
                [paragraph(words) for words in sentences if words],
            ]
        )
    widths = [9, 21, 21, 13, 17, 13, 17, 68]
    return [*story, RuledTable(rows, [wide * mm for wide in widths])]


class _Pictures:
    """Crops of guide and laid proof, each picture decoded once."""

    def __init__(self, proof: Proof) -> None:
        from PIL import Image as Pillow

        self.pictures: list[Any] = []
        for file in (proof.guide.screen, proof.laid):
            try:
                with file.open("rb") as stream, Pillow.open(stream) as opened:
                    self.pictures.append(opened.convert("RGB"))
            except (FileNotFoundError, ValueError):
                self.pictures.append(None)

    def crops(self, reading: ProofReading) -> list[Any]:
        what = [f"Mark {reading.mark.number} on the {where}, ringed" for where in ("guide", "proof")]
        pairs = zip(self.pictures, what, strict=True)
        return [crop_around(picture, reading.x, reading.y, alt) if picture else "" for picture, alt in pairs]
