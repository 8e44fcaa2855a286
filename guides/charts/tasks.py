"""Scans of charts are read in the background: a reading takes seconds, and nobody's page waits for it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, BinaryIO, cast

from django.core.files.uploadedfile import UploadedFile

from bible.models import Series
from bible.series.refusals import Refused
from bible.tasks.backend import background
from bible.tasks.progress import Progress
from bible.tasks.services import enqueue
from guides.charts.services import add_scan, read_scan
from guides.imaging.intake.take_in import take_in
from guides.models import ChartScan

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@background(words="being read", priority=10)
def read_chart_scan(context: Progress, *, scan: int) -> None:
    """Read the scan of a chart."""
    chart_scan = ChartScan.objects.with_names().filter(pk=scan).first()
    if chart_scan is None:
        raise Refused("The scan is not there any more.")
    read_scan(scan=chart_scan, progress=context)


def bring_scan_in(
    *, series: Series, scan: UploadedFile, target: str, by: User, damaged: bool = False, **said: Any
) -> ChartScan:
    """Look at an upload and store it; ``target`` is a reference's text, ``damaged`` the person's yes to pixels that
    can't be read. IntakeError: it is no picture, or that needs a yes."""
    name = scan.name or ""
    file = cast(BinaryIO, scan)
    picture = take_in(file, name, damaged=damaged)
    return add_scan(series=series, picture=picture, original=file, filename=name, reference=target, by=by, **said)


def ask_for_scan(*, scan: ChartScan, by: User) -> None:
    """Have it read, once more where somebody pointed at it while it is being read."""
    enqueue(
        read_chart_scan,
        key=scan.job_key,
        by=by,
        series=scan.series,
        about=f"{scan}, {scan.run}",
        page=scan.get_absolute_url(),
        afresh=True,
        scan=scan.pk,
    )
