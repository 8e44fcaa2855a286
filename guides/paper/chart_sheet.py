"""The series' chart as a page to print: patches in ink, codes beneath them, marks that a scan is found by."""

from __future__ import annotations

import datetime as dt
import io
from typing import IO, Any

from reportlab.lib.units import mm

from guides.imaging.chart.finding import mark_modules
from guides.imaging.chart.sheet import GAP, LABEL, MARK_SIDE, SheetLayout, SheetPatch
from guides.paper.canvas import PaperCanvas
from guides.paper.finishing import AboutDocument, finish
from guides.paper.fonts import fonts
from guides.paper.page import SHORT_CAUTION
from guides.paper.ruled import BLACK, RULE, width_of

TO_FILL_IN = ("Run", "Date", "Paper", "Press")
CODE_SIZE = 6.0
SMALLEST_CODE = 3.2


def write_chart_sheet(sheet: SheetLayout, made_at: dt.datetime, out: IO[bytes]) -> None:
    """The sheet as a PDF of one page in DeviceCMYK; nothing on it but what its layout says is printed in ink. It is
    meant for whatever press it is to tell of, so it names no condition."""
    raw = io.BytesIO()
    first: Any = fonts()[0]  # the stubs take it for a number
    canvas = PaperCanvas(raw, pagesize=(sheet.width * mm, sheet.height * mm), invariant=True, initialFontName=first)
    for number, corners in sheet.marks():
        _mark(canvas, sheet, number, float(corners[0, 0]), float(corners[0, 1]))
    for patch in sheet.patches:
        _patch(canvas, sheet, patch)
    _head(canvas, sheet)
    _target(canvas, sheet)
    canvas.showPage()
    canvas.save()
    raw.seek(0)
    finish(raw, out, AboutDocument(sheet.title, sheet.title, f"Chart sheet {sheet.check:02d}", None, made_at))


def _box(canvas: Any, sheet: SheetLayout, x: float, y: float, width: float, height: float, **how: Any) -> None:
    canvas.rect(x * mm, (sheet.height - y - height) * mm, width * mm, height * mm, **how)


def _mark(canvas: Any, sheet: SheetLayout, number: int, x: float, y: float) -> None:
    canvas.setFillColor(BLACK)
    module = MARK_SIDE / 7
    for row, modules in enumerate(mark_modules(number)):
        start = 0
        while start < 7:  # a run of modules is one box: no hair line of paper between them
            end = start
            while end < 7 and modules[end]:
                end += 1
            if end > start:
                box = (x + start * module, y + row * module, (end - start) * module, module)
                _box(canvas, sheet, *box, stroke=0, fill=1)
            start = end + 1


def _patch(canvas: Any, sheet: SheetLayout, patch: SheetPatch) -> None:
    c, m, y, k = (percent / 100 for percent in patch.tint.percentages)
    if patch.tint.is_paper:
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.2)
        _box(canvas, sheet, patch.x, patch.y, patch.width, patch.height, stroke=1, fill=0)
    else:
        canvas.setFillColorCMYK(c, m, y, k)
        _box(canvas, sheet, patch.x, patch.y, patch.width, patch.height, stroke=0, fill=1)
    room = (patch.width + GAP / 2) * mm
    size = min(CODE_SIZE, max(SMALLEST_CODE, CODE_SIZE * room / max(width_of(patch.code, CODE_SIZE), 0.1)))
    canvas.setFont(fonts()[0], size)
    canvas.setFillColor(BLACK)
    canvas.drawString(patch.x * mm, (sheet.height - patch.y - patch.height - 0.75 * LABEL) * mm, patch.code)


def _head(canvas: Any, sheet: SheetLayout) -> None:
    left, right = 20.0, sheet.width - 20.0
    canvas.setFillColor(BLACK)
    canvas.setFont(fonts()[1], 9)
    canvas.drawString(left * mm, (sheet.height - 12) * mm, f"{sheet.title} · sheet {sheet.check:02d}")
    canvas.setFont(fonts()[0], 6.5)
    middle = sheet.width / 2
    starts = (left, left + 40, middle + 8, middle + 44)
    ends = (left + 36, middle - 8, middle + 40, right)
    for word, start, end in zip(TO_FILL_IN, starts, ends, strict=True):
        canvas.drawString(start * mm, (sheet.height - 19) * mm, word)
        canvas.setStrokeColor(RULE)
        canvas.line((start + 8) * mm, (sheet.height - 19.4) * mm, end * mm, (sheet.height - 19.4) * mm)
    words = f"Print without scaling and without colour management. {SHORT_CAUTION}"
    canvas.setFont(fonts()[0], 5)
    canvas.drawString(left * mm, 19.5 * mm, words)


def _target(canvas: Any, sheet: SheetLayout) -> None:
    if sheet.target is None:
        return
    x, y, width, height = sheet.target
    canvas.setStrokeColor(RULE)
    canvas.setLineWidth(0.3)
    for corner_x, way_x in ((x, 1), (x + width, -1)):
        for corner_y, way_y in ((y, 1), (y + height, -1)):
            low = (sheet.height - corner_y) * mm
            canvas.line(corner_x * mm, low, (corner_x + 4 * way_x) * mm, low)
            canvas.line(corner_x * mm, low, corner_x * mm, (sheet.height - corner_y - 4 * way_y) * mm)
    canvas.setFont(fonts()[0], 5)
    canvas.setFillColor(BLACK)
    words = "A colour target may lie here when the sheet is scanned; without one leave it empty."
    canvas.drawString((x + 6) * mm, (sheet.height - y + 0.6) * mm, words)
