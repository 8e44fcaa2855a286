"""The house's own chart: sheets to print, scans to read, press conditions to keep, runs side by side."""

from __future__ import annotations

import io
from typing import Any

from django.contrib import messages
from django.http import FileResponse, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render

from bible.exports.tables import answer, wanted
from bible.models import Job, Series
from bible.models.permissions import Permission
from bible.series.presses import condition
from bible.series.refusals import Refused
from bible.web.access import MemberRequest, member
from bible.web.limits import FITS, PAPER, PICTURES, limited
from bible.web.methods import FORM, POST, SAFE
from bible.web.preferences import PAPER_SIZE
from guides.charts.exports import patches_table
from guides.charts.forms import ChartScanForm, DriftForm, KeepPressForm, SheetForm, WallChartForm
from guides.charts.queries import changes, drift_between
from guides.charts.services import keep_press, keep_sheet, point_at
from guides.charts.shown import drawn_patches
from guides.charts.tasks import ask_for_scan, bring_scan_in
from guides.core.views import stored_picture
from guides.imaging.chart.sheet import SheetError, SheetLayout
from guides.imaging.intake.rules import IntakeError
from guides.models import ChartScan, PrintedSheet
from guides.paper.chart_sheet import write_chart_sheet


def _charts(request: MemberRequest, series: Series, form: SheetForm) -> HttpResponse:
    context = {
        "series": series,
        "form": form,
        "sheets": PrintedSheet.objects.filter(series=series).order_by("-pk"),
        "scans": ChartScan.objects.filter(series=series).with_names().newest_first(),
        "drift": DriftForm(series),
    }
    return render(request, "guides/charts/charts.html", context, status=422 if form.errors else 200)


@member(Permission.READ, SAFE)
def charts(request: MemberRequest, series: Series) -> HttpResponse:
    """Sheets that were made and scans that came back, the newest first."""
    return _charts(request, series, SheetForm(initial={"page": PAPER_SIZE.chosen(request)}))


@member(Permission.SET_UP, POST)
@limited(PAPER)
def new_chart_sheet(request: MemberRequest, series: Series) -> HttpResponse:
    """The chart as it is now as a sheet; it is kept, so that its scan is known again when the chart has changed."""
    form = SheetForm(request.POST)
    if form.is_valid():
        try:
            sheet = keep_sheet(series=series, page=form.cleaned_data["page"], by=request.user)
        except SheetError as error:
            form.add_error("page", f"{str(error)[0].upper()}{str(error)[1:]}.")
        else:
            messages.success(request, f"Sheet {sheet.check_number:02d} is ready to print.")
            return redirect("charts", series.slug)
    return _charts(request, series, form)


@member(Permission.READ, SAFE)
@limited(PAPER, "GET")
def chart_sheet(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """The page to print."""
    sheet = get_object_or_404(PrintedSheet, series=series, pk=pk)
    out = io.BytesIO()
    write_chart_sheet(SheetLayout.from_dict(sheet.layout), sheet.made_at, out)
    out.seek(0)
    name = f"{series.slug}-chart-{sheet.check_number:02d}-{sheet.page}.pdf"
    return FileResponse(out, as_attachment=True, filename=name, content_type="application/pdf")


@member(Permission.READ, SAFE)
def chart_sheet_layout(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Where each patch lies, for ``scan_chart --layout``."""
    return JsonResponse(get_object_or_404(PrintedSheet, series=series, pk=pk).layout)


@member(Permission.SET_UP, FORM)
@limited(PICTURES)
def new_chart_scan(request: MemberRequest, series: Series) -> HttpResponse:
    """Take the scan of a printed chart in; it is read on its own page."""
    sent = (request.POST, request.FILES) if request.method == "POST" else ()
    form = ChartScanForm(series, *sent)
    if form.is_valid():
        try:
            scan = bring_scan_in(series=series, by=request.user, **form.cleaned_data)
        except IntakeError as refusal:
            form.add_error("scan", f"{form.cleaned_data['scan'].name}: {refusal}{form.asked(refusal)}")
        else:
            return _begun(request, scan)
    context = {"series": series, "form": form}
    return render(request, "guides/charts/chart_scan_new.html", context, status=422 if form.errors else 200)


def _begun(request: MemberRequest, scan: ChartScan) -> HttpResponse:
    """On to pointing at a chart on the wall, or to reading a sheet."""
    if scan.on_wall and not scan.pointed:
        return redirect("chart-corners", scan.series.slug, scan.pk)
    ask_for_scan(scan=scan, by=request.user)
    messages.info(request, "It is in line to be read: this page says how far that is.")
    return redirect(scan)


def _scan(series: Series, pk: int) -> ChartScan:
    scan = get_object_or_404(ChartScan.objects.with_names(), series=series, pk=pk)
    scan.series = series
    return scan


def _page(request: MemberRequest, scan: ChartScan, form: KeepPressForm) -> HttpResponse:
    now, made, patches = condition(scan.series), scan.condition, drawn_patches(scan)
    context = {
        "series": scan.series,
        "scan": scan,
        "job": Job.objects.of(scan.job_key).with_run().first(),
        "patches": patches,
        "amiss": [patch for patch in patches if patch.said],
        "now": now,
        "changes": changes(scan.series, now, made) if made and scan.state == ChartScan.State.READ else None,
        "form": form,
    }
    return render(request, "guides/charts/chart_scan.html", context, status=422 if form.errors else 200)


@member(Permission.READ, SAFE)
def chart_scan(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """What was read: patches over the scan, what is amiss, and what the condition would change before a yes."""
    scan = _scan(series, pk)
    if wanted(request):
        return answer(request, series, patches_table(scan))
    names = {"title": scan.run, "name": f"chart-{scan.number}"}
    return _page(request, scan, KeepPressForm(series, initial=names))


@member(Permission.SET_UP, FORM)
@limited(FITS)
def chart_corners(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Point at the corners of a chart that carries no marks, and say what its cells are."""
    scan = get_object_or_404(ChartScan.objects.with_names(), series=series, pk=pk, on_wall=True)
    form = WallChartForm(scan, request.POST if request.method == "POST" else None)
    if form.is_valid():
        point_at(scan=scan, pointed=form.pointed)
        ask_for_scan(scan=scan, by=request.user)
        return redirect(scan)
    context = {"series": series, "scan": scan, "form": form}
    return render(request, "guides/charts/chart_corners.html", context, status=422 if form.errors else 200)


@member(Permission.SET_UP, POST)
@limited(FITS)
def read_chart(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Read it, again where it was read before."""
    return _begun(request, _scan(series, pk))


@member(Permission.SET_UP, POST)
def keep_chart_press(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Yes to the condition as shown: it is one of the series', and nothing else changes."""
    scan = _scan(series, pk)
    form = KeepPressForm(series, request.POST)
    if form.is_valid():
        try:
            kept = keep_press(scan=scan, by=request.user, **form.cleaned_data)
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(
                request, f"{kept.title} is one of the series’ press conditions. Choose it to print on it."
            )
            return redirect("presses", series.slug)
    return _page(request, scan, form)


@member(Permission.READ, SAFE)
def chart_drift(request: MemberRequest, series: Series) -> HttpResponse:
    """Two runs side by side: which ink prints heavier, and which locked codes look alike now."""
    form = DriftForm(series, request.GET or None)
    drift: Any = None
    if form.is_valid():
        drift = drift_between(form.cleaned_data["first"], form.cleaned_data["second"])
    context = {"series": series, "form": form, "found": drift, "asked": form.is_valid()}
    return render(request, "guides/charts/chart_drift.html", context, status=422 if form.errors else 200)


@member(Permission.READ, SAFE)
def chart_picture(request: MemberRequest, series: Series, pk: int, kind: str) -> HttpResponseBase:
    """A scan's picture, to members only, by the rules of the guides' pictures."""
    scan = get_object_or_404(ChartScan, series=series, pk=pk)
    return stored_picture(request, {"original": scan.original, "screen": scan.screen, "thumb": scan.thumb}[kind])
