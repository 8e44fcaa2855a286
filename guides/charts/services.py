"""Writes to charts: sheets kept, scans taken in and read, press conditions made of them. Keyword-only and atomic.

Nothing that is locked changes here: a press condition is one more that the series can be shown on, and which it is
shown on is decided on its Press page.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import uuid
from pathlib import PurePath
from typing import IO, TYPE_CHECKING, Any, BinaryIO, cast

import numpy as np
from django.db import IntegrityError, transaction
from django.db.models import Max

from bible.colour import pressfile
from bible.colour.cgats import read_reference
from bible.colour.condition import PressCondition
from bible.colour.notation import NotationError
from bible.colour.tints import PAPER, Tint
from bible.models import PressUpload, Series
from bible.series.holding import hold_series
from bible.series.presses import condition
from bible.series.refusals import Refused
from bible.tasks.progress import ByHand, Reporter
from guides.core import pictures
from guides.imaging.chart.files import load_scan
from guides.imaging.chart.finding import check_of, marks_on
from guides.imaging.chart.reading import ChartReading, TargetScan, read_chart
from guides.imaging.chart.refusals import ChartFault, ChartRefused
from guides.imaging.chart.sheet import SheetLayout, lay_out, wall_chart
from guides.imaging.chart.standard import standard_sheet
from guides.imaging.intake.rules import IntakeError
from guides.imaging.intake.take_in import Intake
from guides.models import CHART_SAID_LENGTH, ChartScan, PrintedSheet

if TYPE_CHECKING:
    from django.contrib.auth.models import User

State = ChartScan.State
BY_HAND = ByHand()
STEPS = 2


@transaction.atomic
def keep_sheet(*, series: Series, page: str, by: User) -> PrintedSheet:
    """The sheet of the series' chart as it is now; the one there is, where nothing changed since.

    Raises:
        SheetError: the chart does not fit on a page.
    """
    sheet = lay_out(series.chart.tints, series.write, title=series.title, page=page)
    layout = sheet.to_dict()
    hold_series(series.pk)
    for kept in PrintedSheet.objects.filter(series=series, check_number=sheet.check):
        if kept.layout == layout:
            return kept
    return PrintedSheet.objects.create(series=series, check_number=sheet.check, page=page, layout=layout, made_by=by)


def add_scan(
    *,
    series: Series,
    picture: Intake,
    original: IO[bytes],
    filename: str,
    run: str,
    printed_on: dt.date | None = None,
    paper: str = "",
    base: str = "",
    reference: str = "",
    on_wall: bool = False,
    by: User,
) -> ChartScan:
    """Store an accepted scan, waiting to be read; one of a chart on the wall waits to be pointed at."""
    folder = f"charts/{series.pk}/{uuid.uuid4().hex}"
    with pictures.stored(picture, original, folder) as (kept, screen, thumb), transaction.atomic():
        hold_series(series.pk)
        last = ChartScan.objects.filter(series=series).aggregate(last=Max("number"))["last"] or 0
        return ChartScan.objects.create(
            series=series,
            number=last + 1,
            run=run,
            printed_on=printed_on,
            paper=paper,
            base=base,
            reference=reference,
            on_wall=on_wall,
            original=kept,
            screen=screen,
            thumb=thumb,
            filename=PurePath(filename).name[-200:],
            sha256=picture.sha256,
            byte_size=picture.byte_size,
            width=picture.width,
            height=picture.height,
            uploaded_by=by,
        )


def point_at(*, scan: ChartScan, pointed: dict[str, Any]) -> None:
    """Keep what a person pointed at on a chart without marks; it stays whatever the next reading says."""
    scan.pointed = pointed
    scan.save(update_fields=["pointed"])


def read_scan(*, scan: ChartScan, progress: Reporter = BY_HAND) -> ChartScan:
    """Read a scan. What cannot be trusted is ``REFUSED`` in words: no figure is kept, what was pointed at is."""
    try:
        progress.say("being looked at", 0, STEPS)
        with scan.original.open("rb") as file:
            pixels = load_scan(cast(BinaryIO, file))
        sheet, kept = _sheet_of(scan, pixels)
        progress.say("being read, patch by patch", 1, STEPS)
        target = TargetScan(read_reference(scan.reference)) if scan.reference else None
        base = condition(scan.series, scan.base) if scan.base else None
        reading = read_chart(pixels, sheet, base=base, corners=_corners(scan, pixels), target=target)
    except ChartRefused as refusal:
        _refuse(scan, str(refusal.fault), refusal.message, progress)
    except (FileNotFoundError, IntakeError):
        _refuse(scan, "no_file", "The picture’s file is missing or damaged: send the scan again.", progress)
    else:
        with progress.finishing():
            _store(scan, kept, reading, pixels.shape)
    scan.refresh_from_db()
    return scan


def _sheet_of(scan: ChartScan, pixels: Any) -> tuple[SheetLayout, PrintedSheet | None]:
    """The layout that the scan shows, and the printed sheet of the series that has it."""
    if scan.on_wall:
        return pointed_sheet(scan), None
    check = check_of(marks_on(pixels))
    if check is None:
        raise ChartRefused(
            ChartFault.NOT_A_CHART,
            "No corner marks of a chart sheet are on this picture. Scan the whole printed sheet; a chart without "
            "marks is sent as one that hangs on the wall.",
        )
    kept = PrintedSheet.objects.filter(series=scan.series, check_number=check).order_by("-pk").first()
    standard = None if kept else standard_sheet(check)
    if kept is None and standard is None:
        raise ChartRefused(
            ChartFault.OTHER_CHART,
            f"This is sheet {check:02d}, which was not printed from {scan.series}: another series’ chart, or one "
            "from before it was set up here.",
        )
    return (SheetLayout.from_dict(kept.layout), kept) if kept else (standard, None)  # type: ignore[return-value]


def pointed_sheet(scan: ChartScan) -> SheetLayout:
    """The layout of a chart on the wall from what was pointed at. ChartRefused where nothing was."""
    if not scan.pointed:
        raise ChartRefused(ChartFault.NOT_A_CHART, "Point at the four corners of the chart, then it is read.")
    codes = list(scan.pointed["codes"])
    read = [_read(scan.series, code) for code in codes]
    tints = [tint if tint is not None else PAPER for tint in read]
    shown = [code if tint is not None else "" for code, tint in zip(codes, read, strict=True)]
    return wall_chart(shown, tints, scan.pointed["rows"], scan.pointed["columns"], title=str(scan.series))


def _read(series: Series, code: str) -> Tint | None:
    try:
        return series.read(code) if code else None
    except NotationError:  # a cell that says something else: it is left out
        return None


def _corners(scan: ChartScan, pixels: Any) -> list[tuple[float, float]] | None:
    if not scan.on_wall or not scan.pointed:
        return None
    height, width = pixels.shape[:2]
    return [(x * width - 0.5, y * height - 0.5) for x, y in scan.pointed["corners"]]


def _refuse(scan: ChartScan, reason: str, words: str, progress: Reporter) -> None:
    with progress.finishing(refused=words):
        ChartScan.objects.filter(pk=scan.pk).update(
            state=State.REFUSED, refusal=reason, refusal_said=words[:CHART_SAID_LENGTH], patches=[], notes=[]
        )


def _store(scan: ChartScan, kept: PrintedSheet | None, reading: ChartReading, shape: tuple[int, ...]) -> None:
    made = reading.correction.condition(
        name=f"chart-scan-{scan.number}", title=scan.run, source=f"scan of the chart, {scan.run}", paper=scan.paper
    )
    size = np.array([shape[1], shape[0]], dtype=np.float64)
    patches = [
        patch.to_dict()
        | {
            "tint": list(patch.tint.percentages),
            "quad": np.round((np.array(patch.quad) + 0.5) / size, 5).tolist(),
            "amiss": _amiss(patch),
        }
        for patch in reading.patches
    ]
    ChartScan.objects.filter(pk=scan.pk).update(
        state=State.READ,
        refusal="",
        refusal_said="",
        sheet=kept,
        patches=patches,
        notes=list(reading.notes),
        mean_doubt=round(reading.mean_doubt, 2),
        press_text=pressfile.dumps(made),
    )


def _amiss(patch: Any) -> dict[str, Any] | None:
    wrong = patch.amiss
    if wrong is None:
        return None
    like = None if wrong.looks_like is None else list(wrong.looks_like.percentages)
    figures = {"difference": round(wrong.difference, 2), "weight": round(wrong.weight, 2)}
    return {"kind": str(wrong.kind), "said": wrong.said, "looks_like": like} | figures


@transaction.atomic
def keep_press(*, scan: ChartScan, name: str, title: str, by: User) -> PressUpload:
    """Make a scan's condition one of the series'. Nothing is shown on it until somebody chooses it.

    Raises:
        Refused: it was not read, is kept already, or the name is taken.
    """
    scan = ChartScan.objects.select_for_update(of=("self",)).select_related("series").get(pk=scan.pk)
    measured = scan.condition
    if scan.state != State.READ or measured is None:
        raise Refused("This scan has not been read: there is no press condition to keep.")
    if scan.press_id:
        raise Refused("Somebody has kept its press condition meanwhile.")
    source = f"scan of the house’s chart, {scan.run}; made from a scan, not measured"
    named: PressCondition = dataclasses.replace(measured, name=name, title=title, source=source)
    try:
        with transaction.atomic():
            scan.press = PressUpload.objects.create(
                series=scan.series,
                name=name,
                title=title,
                source=source,
                text=pressfile.dumps(named),
                uploaded_by=by,
            )
    except IntegrityError as error:
        raise Refused("Somebody brought a condition of this name meanwhile.") from error
    scan.save(update_fields=["press"])
    return scan.press
