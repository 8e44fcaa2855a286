"""The chart: all its tints as a press prints them, and one tint looked at closely."""

from __future__ import annotations

import io

from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe
from PIL import Image

from bible.access import EVERYBODY, MemberRequest, member
from bible.chart_pages.sheets import lay_out
from bible.chart_pages.tint_facts import facts, steps_away, views_by_vision
from bible.chart_pages.uses import locks_carrying, uses_by_tint
from bible.colour.halftone import MM_PER_INCH, halftone
from bible.colour.tints import Tint
from bible.forms.colour import FindTintForm, LookForm, PressForm
from bible.lists import chart_table
from bible.models import Series
from bible.running_order import RunningOrder
from bible.tables_out import answer, wanted

LINE_PIXELS = {"1": 6, "2": 12, "3": 24, "4": 48}
"""Zoom of the halftone view: pixels that one screen line gets."""

HALFTONE_SIZE = (720, 400)
KEPT_FOR_AN_HOUR = "private, max-age=3600"

MOST_LOCKS = 200
"""Locks listed for one tint; the rest are counted. Bare paper may be on everything."""


@require_safe
@member(*EVERYBODY)
def chart(request: MemberRequest, series: Series) -> HttpResponseBase:
    """Every tint of the series' chart under a press condition, arranged in sheets."""
    form = LookForm(series, request.GET)
    press = form.condition
    layout = lay_out(press, series.chart.tints, series.write, uses_by_tint(series), form.eyes)
    if wanted(request) and not form.errors:
        return answer(request, series, chart_table(series, layout, press, form.eyes))
    context = {
        "series": series,
        "form": form,
        "find": FindTintForm(series),
        "press": press,
        "vision": form.eyes,
        "layout": layout,
        "query": _query(press.name, series),
    }
    template = "bible/_chart.html" if request.htmx.target == "chart" else "bible/chart.html"
    return render(request, template, context, status=422 if form.errors else 200)


@require_safe
@member(*EVERYBODY)
def find_tint(request: MemberRequest, series: Series) -> HttpResponse:
    """From a code as people type it to the page of its tint."""
    form = FindTintForm(series, request.GET)
    if form.is_valid():
        return redirect("tint", series.slug, *form.cleaned_data["code"].percentages)
    return render(request, "bible/find_tint.html", {"series": series, "find": form}, status=422)


@require_safe
@member(*EVERYBODY)
def tint(request: MemberRequest, series: Series, c: int, m: int, y: int, k: int) -> HttpResponse:
    """One tint: its figures, its dots, what it is mistaken for, who uses it."""
    found = _tint_or_404(c, m, y, k)
    form = PressForm(series, request.GET)
    press = form.condition
    locks = locks_carrying(series, found)
    zoom = request.GET.get("zoom", "2")
    context = {
        "series": series,
        "form": form,
        "press": press,
        "tint": found,
        "on_chart": found in series.chart,
        "facts": (told := facts(press, found)),
        "looks": [("absolute", told.absolute), ("relative to the paper", told.relative)],
        "steps": steps_away(press, found, series.chart),
        "visions": views_by_vision(press, found, series.chart.tints),
        "locks": locks[:MOST_LOCKS],
        "lock_count": locks.count(),
        "running_order": RunningOrder.of(series),
        "zoom": zoom if zoom in LINE_PIXELS else "2",
        "zooms": LINE_PIXELS,
        "query": _query(press.name, series),
    }
    template = "bible/_tint.html" if request.htmx.target == "tint" else "bible/tint.html"
    return render(request, template, context, status=422 if form.errors else 200)


@require_safe
@member(*EVERYBODY)
def dots(request: MemberRequest, series: Series, c: int, m: int, y: int, k: int) -> HttpResponse:
    """The halftone picture of a tint, as PNG."""
    found = _tint_or_404(c, m, y, k)
    form = PressForm(series, request.GET)
    line = LINE_PIXELS.get(request.GET.get("zoom", "2"))
    if line is None or not form.is_valid():
        raise Http404("No such press condition or zoom.")
    press = form.condition
    pixels = halftone(press, found, *HALFTONE_SIZE, pixels_per_mm=line * press.ruling_lpi / MM_PER_INCH)
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "PNG", compress_level=1)
    return HttpResponse(out.getvalue(), content_type="image/png", headers={"Cache-Control": KEPT_FOR_AN_HOUR})


def _tint_or_404(c: int, m: int, y: int, k: int) -> Tint:
    try:
        return Tint(c, m, y, k)
    except ValueError as error:
        raise Http404(str(error)) from error


def _query(name: str, series: Series) -> str:
    """What links carry along so that the next page speaks of the same press; nothing for the series' own."""
    return "" if name == series.press else f"?press={name}"
