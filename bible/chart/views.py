"""The chart and what can be asked of it: tints, look-alikes, gradients, the notation and its audit."""

from __future__ import annotations

import io
from functools import partial
from typing import Any

import numpy as np
from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from PIL import Image

from bible.chart.exports import audit_table, chart_table, look_alikes_table
from bible.chart.forms import (
    STYLE_WORDS,
    AuditForm,
    FindTintForm,
    GradientForm,
    LookAlikeForm,
    LookForm,
    PressForm,
    as_text,
)
from bible.chart.look_alikes import PAIRS_SHOWN, chart_ranking, subject_ranking
from bible.chart.queries import locks_carrying, uses_by_tint
from bible.chart.sheets import lay_out
from bible.chart.tint_facts import facts, steps_away, views_by_vision
from bible.colour.chart_audit import AuditFindingKind, ChartAudit, audit
from bible.colour.halftone import MM_PER_INCH, halftone
from bible.colour.press import PressCondition
from bible.colour.printed_gradients import gradient as fade
from bible.colour.printed_gradients import suggest_ends
from bible.colour.tints import INK_NAMES, Tint
from bible.exports.tables import answer, wanted
from bible.models import Series
from bible.models.permissions import Permission
from bible.series.running_order import RunningOrder
from bible.web.access import MemberRequest, member
from bible.web.limits import FITS, limited
from bible.web.methods import FORM, SAFE

LINE_PIXELS = {"1": 6, "2": 12, "3": 24, "4": 48}
"""Zoom of the halftone view: pixels that one screen line gets."""

HALFTONE_SIZE = (720, 400)
KEPT_FOR_AN_HOUR = "private, max-age=3600"

MOST_LOCKS = 200
"""Locks listed for one tint; the rest are counted. Bare paper may be on everything."""


@member(Permission.READ, SAFE)
def chart(request: MemberRequest, series: Series) -> HttpResponseBase:
    """Every tint of the series' chart under a press condition, arranged in sheets."""
    form = LookForm(series, request.GET, edition=request.edition)
    press = form.condition
    layout = lay_out(press, series.chart.tints, series.write, uses_by_tint(series, request.edition), form.eyes)
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
    template = "bible/chart/_chart.html" if request.htmx.target == "chart" else "bible/chart/chart.html"
    return render(request, template, context, status=422 if form.errors else 200)


@member(Permission.READ, SAFE)
def find_tint(request: MemberRequest, series: Series) -> HttpResponse:
    """From a code as people type it to the page of its tint."""
    form = FindTintForm(series, request.GET)
    if form.is_valid():
        return redirect("tint", series.slug, form.cleaned_data["code"])
    return render(request, "bible/chart/find_tint.html", {"series": series, "find": form}, status=422)


@member(Permission.READ, SAFE)
def tint(request: MemberRequest, series: Series, tint: Tint) -> HttpResponse:
    """One tint: its figures, its dots, what it is mistaken for, who uses it."""
    form = PressForm(series, request.GET)
    press = form.condition
    locks = locks_carrying(series, tint)
    zoom = request.GET.get("zoom", "2")
    context = _seen_on(press, tint, series) | {
        "series": series,
        "form": form,
        "locks": locks[:MOST_LOCKS],
        "lock_count": locks.count(),
        "running_order": RunningOrder.of(series),
        "zoom": zoom if zoom in LINE_PIXELS else "2",
        "zooms": LINE_PIXELS,
        "query": _query(press.name, series),
    }
    template = "bible/chart/_tint.html" if request.htmx.target == "tint" else "bible/chart/tint.html"
    return render(request, template, context, status=422 if form.errors else 200)


def _seen_on(press: PressCondition, tint: Tint, series: Series) -> dict[str, Any]:
    """What a tint is on a press, and beside the tints of the series' chart."""
    printed = facts(press, tint)
    return {
        "press": press,
        "tint": tint,
        "on_chart": tint in series.chart,
        "facts": printed,
        "looks": [("absolute", printed.absolute), ("relative to the paper", printed.relative)],
        "steps": steps_away(press, tint, series.chart),
        "visions": views_by_vision(press, tint, series.chart.tints),
    }


@member(Permission.READ, SAFE)
def dots(request: MemberRequest, series: Series, tint: Tint) -> HttpResponse:
    """The halftone picture of a tint, as PNG."""
    form = PressForm(series, request.GET)
    line = LINE_PIXELS.get(request.GET.get("zoom", "2"))
    if line is None or not form.is_valid():
        raise Http404("No such press condition or zoom.")
    press = form.condition
    pixels = halftone(press, tint, *HALFTONE_SIZE, pixels_per_mm=line * press.ruling_lpi / MM_PER_INCH)
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "PNG", compress_level=1)
    return HttpResponse(out.getvalue(), content_type="image/png", headers={"Cache-Control": KEPT_FOR_AN_HOUR})


def _query(name: str, series: Series) -> str:
    """What links carry along so that the next page speaks of the same press; nothing for the series' own."""
    return "" if name == series.press else f"?press={name}"


STRIP_STEPS = 61
"""Colours drawn along a path: steps of less than 2 %, which no eye tells from a fade."""

DEFAULT_FADE = {"start": Tint(m=100, y=100), "end": Tint()}
"""What the page shows before anything was asked: solid red washing out to bare paper."""


@member(Permission.READ, SAFE)
def gradient(request: MemberRequest, series: Series) -> HttpResponse:
    """The printed path from one code to another, under a press condition."""
    asked = {name: request.GET.get(name, "") for name in ("start", "end", "press")}
    if "start" not in request.GET and "end" not in request.GET:
        asked |= {name: series.write(tint) for name, tint in DEFAULT_FADE.items()}
    form = GradientForm(series, asked)
    press = form.condition
    context = {
        "series": series,
        "form": form,
        "press": press,
        "fade": _fade(series, press, form) if form.is_valid() else None,
        "query": "" if press.name == series.press else f"?press={press.name}",
    }
    template = "bible/chart/_gradient.html" if request.htmx.target == "gradient" else "bible/chart/gradient.html"
    return render(request, template, context, status=422 if form.errors else 200)


def _fade(series: Series, press: PressCondition, form: GradientForm) -> dict[str, object]:
    start, end = form.cleaned_data["start"], form.cleaned_data["end"]
    printed = fade(press, start, end)
    suggestions = suggest_ends(press, start, end, series.chart.tints)
    return {
        "found": printed,
        "strip": _strip(press, start, end),
        "place": round(100 * printed.at),
        "suggestions": [(suggestion, _strip(press, start, suggestion.tint)) for suggestion in suggestions],
        "asked_suggestions": not (printed.holds_hue or printed.neutral),
        "middle": STRIP_STEPS / 2,
        "length": STRIP_STEPS,
        "ends": (press.hex(start), press.hex(end)),
    }


def _strip(press: PressCondition, start: Tint, end: Tint) -> list[str]:
    """Screen colours along the path."""
    share = np.linspace(0.0, 1.0, STRIP_STEPS)[:, None]
    first, last = np.array(start.percentages), np.array(end.percentages)
    path = first + (last - first) * share  # in this form an ink that stays solid stays exactly 100 %
    return ["#" + bytes(rgb).hex() for rgb in press.srgb(path).rgb]


@member(Permission.READ, SAFE)
@limited(FITS, "GET")
def look_alikes(request: MemberRequest, series: Series) -> HttpResponseBase:
    """The ranking for the chart, or for one subject against the others."""
    form = LookAlikeForm(series, request.GET, edition=request.edition)
    press, vision = form.condition, form.eyes
    subject = form.cleaned_data.get("subject")
    ranked = partial(subject_ranking, series, subject) if subject else partial(chart_ranking, series)
    out = wanted(request) and not form.errors
    ranking = ranked(press, vision, None if out else PAIRS_SHOWN, edition=request.edition)
    if out:
        return answer(request, series, look_alikes_table(series, ranking, press, vision, subject, request.edition))
    context = {"series": series, "form": form, "press": press, "vision": vision, "subject": subject}
    context |= {"ranking": ranking, "query": _query(press.name, series)}
    name = "_look_alikes" if request.htmx.target == "look-alikes" else "look_alikes"
    return render(request, f"bible/chart/{name}.html", context, status=422 if form.errors else 200)


FINDINGS_SHOWN = 300
"""Findings listed; a list beyond this means that the wrong file was taken or one cause runs through it."""

KIND_WORDS = {
    AuditFindingKind.LABEL_DIFFERS: "label says another tint",
    AuditFindingKind.LABEL_UNREADABLE: "label cannot be read",
    AuditFindingKind.DUPLICATE_TINT: "same tint twice",
    AuditFindingKind.DUPLICATE_LABEL: "same label twice",
    AuditFindingKind.GAP: "missing from the steps",
    AuditFindingKind.OFF_GRID: "beside the steps",
    AuditFindingKind.OVER_INK_LIMIT: "over the ink limit",
}


@member(Permission.READ, SAFE)
def notation(request: MemberRequest, series: Series) -> HttpResponse:
    """The letters, figures, aliases and chart of the series."""
    now = series.notation
    context = {
        "series": series,
        "letters": [(INK_NAMES[ink], now.letter_of[ink]) for ink in now.order],
        "steps": now.steps,
        "key_steps": now.key_steps,
        "aliases": now.aliases,
        "order": ", ".join(INK_NAMES[ink] for ink in now.order),
        "style": STYLE_WORDS[now.style],
        "paper": now.paper,
        "examples": series.chart.tints[1 :: max(len(series.chart) // 6, 1)][:6],
    }
    return render(request, "bible/chart/notation.html", context)


def _told(audited: ChartAudit) -> dict[str, Any]:
    return {
        "findings": audited.findings[:FINDINGS_SHOWN],
        "kinds": [(words, len(audited.of_kind(kind))) for kind, words in KIND_WORDS.items() if audited.of_kind(kind)],
        "steps": [(INK_NAMES[ink], levels) for ink, levels in audited.steps.items()],
    }


@member(Permission.READ, FORM)
@limited(FITS)
def chart_audit(request: MemberRequest, series: Series) -> HttpResponseBase:
    """Look a typed or uploaded chart through. Nothing is saved; a lead may then make it the house chart.

    The findings have no address of their own: whoever takes them along sends the chart again.
    """
    form = AuditForm(request.POST, request.FILES) if request.method == "POST" else AuditForm()
    context: dict[str, object] = {"series": series, "form": form}
    if form.is_valid():
        table = form.cleaned_data["chart_table"]
        audited = audit(table.swatches, series.notation, form.cleaned_data["ink_limit"])
        if wanted(request):
            return answer(request, series, audit_table(series, table, audited))
        context |= {"table": table, "audit": audited, "text": as_text(table)} | _told(audited)
    return render(request, "bible/chart/chart_audit.html", context, status=422 if form.errors else 200)
