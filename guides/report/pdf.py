"""The continuity report as PDF. Tints stand in it as DeviceCMYK with their own percentages."""

from __future__ import annotations

import datetime as dt
from typing import IO, Any

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Spacer

from bible.colour.tints import Tint
from bible.web.names import counted
from guides.paper.page import paged
from guides.paper.paragraphs import paragraph
from guides.paper.ruled import PaperSwatch, RuledTable
from guides.paper.sizes import A4, Size
from guides.report.queries import ConfusionMatrix, Drift, Report, SubjectLine

CELL = 11.5 * mm
"""A dozen codes with their swatches go across a page of A4."""


def write_report(report: Report, made_at: dt.datetime, out: IO[bytes], size: Size = A4) -> None:
    """Write the report to a binary file."""
    title = f"{report.series.title}: continuity report, {report.about}"
    document = paged(out, title=title, series=report.series, press=report.press, made_at=made_at, size=size)
    document.write([*_front(report), *_subjects(report), *_colourists(report), *_codes(report)])


def _differ(differing: int) -> str:
    return "differs" if differing == 1 else "differ"


def _front(report: Report) -> list[Flowable]:
    compared = (
        f"{counted(report.marks, 'mark')} compared with the bible: {report.agreeing} agree, "
        f"{report.differing} {_differ(report.differing)}, {report.allowed} {_differ(report.allowed)} by a waiver."
    )
    return [
        paragraph(report.series.title, 18, bold=True),
        paragraph(f"Continuity report, {report.about}", 13, bold=True),
        Spacer(0, 3 * mm),
        paragraph(compared, 9),
        paragraph(f"Press condition: {report.press.title} ({report.press.source})", 9),
    ]


def _subjects(report: Report) -> list[Flowable]:
    story: list[Flowable] = [paragraph("What held and what drifted", 11, bold=True, before=8)]
    for line in report.subjects:
        story += _subject(report, line)
    if report.subjects_more:
        story.append(paragraph(f"{counted(report.subjects_more, 'more subject')} with fewer differences."))
    if report.held_count:
        names = ", ".join(subject.name for subject in report.held)
        more = f" and {report.held_more} more" if report.held_more else ""
        story.append(paragraph(f"Held in every mark ({report.held_count}): {names}{more}.", before=6))
    elif not report.marks:
        story.append(paragraph("No mark of a locked part is in these issues."))
    return story


def _subject(report: Report, line: SubjectLine) -> list[Flowable]:
    held = f"{line.parts_held} of {counted(line.parts, 'part')} held; "
    held += f"{line.differing} of {counted(line.marks, 'mark')} {_differ(line.differing)}"
    allowed = f", {line.allowed} more are allowed to" if line.allowed else ""
    rows: list[list[Any]] = [["Part", "", "Written", "", "Locked", "Marks", "Issues"]]
    rows += [_drift(report, drift) for drift in line.drifts]
    story: list[Flowable] = [
        paragraph(line.subject.name, 9, bold=True, before=6),
        paragraph(f"{held}{allowed}."),
        RuledTable(rows, [48 * mm, 13 * mm, 24 * mm, 13 * mm, 24 * mm, 14 * mm, 44 * mm]),
    ]
    return [*story, paragraph(f"and {line.more} more")] if line.more else story


def _drift(report: Report, drift: Drift) -> list[Any]:
    role = "" if drift.role == "base" else f" ({report.series.roles.name(drift.role)})"
    alone = drift.first == drift.last
    issues = drift.first.number if alone else f"from {drift.first.number} to {drift.last.number}"
    return [
        paragraph(f"{drift.part.costume.name}: {drift.part.name}{role}"),
        *_tint(report, drift.wrote),
        *_tint(report, drift.locked),
        str(drift.marks),
        paragraph(f"{issues}, goes on" if drift.goes_on else issues),
    ]


def _tint(report: Report, tint: Tint) -> list[Any]:
    return [PaperSwatch(tint), paragraph(report.series.write(tint), bold=True)]


def _colourists(report: Report) -> list[Flowable]:
    if not report.colourists:
        return []
    rows: list[list[Any]] = [["Colourist", "Marks", "Differ", "Share", "Most often"]]
    for line in report.colourists:
        slips = "; ".join(
            f"{report.series.write(slip.wrote)} for {report.series.write(slip.locked)} ({slip.marks})"
            for slip in line.slips
        )
        numbers = (str(line.marks), str(line.differing), f"{line.share:.1f} %")
        rows.append([paragraph(line.name, bold=True), *numbers, paragraph(slips or "nothing")])
    story: list[Flowable] = [paragraph("Colourists", 11, bold=True, before=10)]
    story.append(RuledTable(rows, [50 * mm, 18 * mm, 18 * mm, 18 * mm, 76 * mm]))
    if report.colourists_more:
        story.append(paragraph(f"{report.colourists_more} more with fewer differences."))
    return story


def _codes(report: Report) -> list[Flowable]:
    if not report.pairs:
        return []
    rows: list[list[Any]] = [["", "Written", "", "Locked", "Marks", "In print"]]
    for pair in report.pairs:
        apart = f"{pair.severity.word}, CIEDE2000 {pair.delta_e:.1f}"
        rows.append([*_tint(report, pair.wrote), *_tint(report, pair.locked), str(pair.marks), paragraph(apart)])
    story: list[Flowable] = [
        paragraph("Codes taken for one another", 11, bold=True, before=10),
        RuledTable(rows, [14 * mm, 30 * mm, 14 * mm, 30 * mm, 18 * mm, 70 * mm]),
    ]
    if report.pairs_more:
        story.append(paragraph(f"and {report.pairs_more} rarer pairs."))
    words = "Marks by what was written (down) and what is locked (across)."
    return [*story, paragraph(words, before=8), _matrix(report, report.matrix)]


def _matrix(report: Report, matrix: ConfusionMatrix) -> Flowable:
    more = matrix.has_more_locked
    code = report.series.write
    small = [[PaperSwatch(tint), paragraph(code(tint), 5.5)] for tint in matrix.locked]
    rows: list[list[Any]] = [["Written", *small, *(["other"] if more else []), "all"]]
    for wrote, cells, other, total in matrix.rows:
        counts = [str(cell.marks or "") for cell in cells]
        rest = [str(other or "")] if more else []
        rows.append([paragraph(code(wrote), 6, bold=True), *counts, *rest, str(total)])
    return RuledTable(rows, [18 * mm, *[CELL] * (len(matrix.locked) + 1 + more)], bold=())
