"""Which tints readers may mistake for each other in print."""

from __future__ import annotations

from django.http import HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_safe

from bible.access import EVERYBODY, MemberRequest, member
from bible.chart_pages.look_alikes import PAIRS_SHOWN, chart_ranking, subject_ranking
from bible.forms.colour import LookAlikeForm
from bible.limits import FITS, limited
from bible.lists import look_alikes_table
from bible.models import Series
from bible.tables_out import answer, wanted


@require_safe
@member(*EVERYBODY)
@limited(FITS, "GET")
def look_alikes(request: MemberRequest, series: Series) -> HttpResponseBase:
    """The ranking for the chart, or for one subject against the others."""
    form = LookAlikeForm(series, request.GET)
    press, vision = form.condition, form.eyes
    subject = form.cleaned_data.get("subject")
    out = bool(wanted(request)) and not form.errors
    shown = None if out else PAIRS_SHOWN
    if subject:
        ranking = subject_ranking(series, subject, press, vision, shown)
    else:
        ranking = chart_ranking(series, press, vision, shown)
    if out:
        return answer(request, series, look_alikes_table(series, ranking, press, vision, subject))
    context = {
        "series": series,
        "form": form,
        "press": press,
        "vision": vision,
        "subject": subject,
        "ranking": ranking,
        "query": "" if press.name == series.press else f"?press={press.name}",
    }
    template = "bible/_look_alikes.html" if request.htmx.target == "look-alikes" else "bible/look_alikes.html"
    return render(request, template, context, status=422 if form.errors else 200)
