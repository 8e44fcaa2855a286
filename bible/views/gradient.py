"""Gradients: what lies between two codes in print, and which end would hold the hue better."""

from __future__ import annotations

import numpy as np
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from bible.access import EVERYBODY, MemberRequest, member
from bible.colour.gradients import gradient as fade
from bible.colour.gradients import suggest_ends
from bible.colour.press import PressCondition
from bible.colour.tints import Tint
from bible.forms.colour import GradientForm
from bible.models import Series

STRIP_STEPS = 61
"""Colours drawn along a path: steps of less than 2 %, which no eye tells from a fade."""

DEFAULT_FADE = {"start": Tint(m=100, y=100), "end": Tint()}
"""What the page shows before anything was asked: solid red washing out to bare paper."""


@require_safe
@member(*EVERYBODY)
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
    template = "bible/_gradient.html" if request.htmx.target == "gradient" else "bible/gradient.html"
    return render(request, template, context, status=422 if form.errors else 200)


def _fade(series: Series, press: PressCondition, form: GradientForm) -> dict[str, object]:
    start, end = form.cleaned_data["start"], form.cleaned_data["end"]
    found = fade(press, start, end)
    suggestions = suggest_ends(press, start, end, series.chart.tints)
    return {
        "found": found,
        "strip": _strip(press, start, end),
        "place": round(100 * found.at),
        "suggestions": [(one, _strip(press, start, one.tint)) for one in suggestions],
        "asked_suggestions": not (found.holds_hue or found.neutral),
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
