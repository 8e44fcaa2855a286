"""The demo's own printed chart: a sheet made, scanned from two runs, the first taken up as a press condition."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from django.contrib.auth.models import User

from bible.models import Series
from guides.charts.services import add_scan, keep_press, keep_sheet, read_scan
from guides.demo.artist.charting import RUNS, ChartRun, chart_png
from guides.imaging.chart.sheet import SheetLayout
from guides.imaging.intake.take_in import take_in
from guides.models import ChartScan

KEPT_NAME, KEPT_TITLE = "house-newsprint", "The house’s newsprint, run of issue 24"


def print_charts(series: Series, by: User) -> dict[str, ChartScan]:
    """The scans by issue; made once. No code and no page is shown on the condition until somebody chooses it."""
    if not series.chart_scans.exists():
        layout = SheetLayout.from_dict(keep_sheet(series=series, page="a4", by=by).layout)
        first, *_ = [_scan(series, layout, run, by) for run in RUNS]
        keep_press(scan=first, name=KEPT_NAME, title=KEPT_TITLE, by=by)
    issues = {run.run: run.issue for run in RUNS}
    scans = series.chart_scans.were_read().select_related("press")
    return {issues[scan.run]: scan for scan in scans if scan.run in issues}


def _scan(series: Series, layout: SheetLayout, run: ChartRun, by: User) -> ChartScan:
    """It comes in like any scan and is read at once."""
    png, name = io.BytesIO(chart_png(layout, run, np.random.default_rng(int(run.issue)))), f"chart-{run.issue}.png"
    fields: dict[str, Any] = {"run": run.run, "printed_on": run.printed_on, "paper": "newsprint", "base": "newsprint"}
    scan = add_scan(series=series, picture=take_in(png, name), original=png, filename=name, by=by, **fields)
    return read_scan(scan=scan)
