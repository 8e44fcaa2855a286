"""Which tints readers may mistake for each other in print."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from bible.access import EVERYBODY, MemberRequest, member
from bible.chart_pages.look_alikes import chart_ranking, subject_ranking
from bible.forms.colour import LookAlikeForm
from bible.models import Series


@require_safe
@member(*EVERYBODY)
def look_alikes(request: MemberRequest, series: Series) -> HttpResponse:
    """The ranking for the chart, or for one subject against the others."""
    form = LookAlikeForm(series, request.GET)
    press, vision = form.condition, form.eyes
    subject = form.cleaned_data.get("subject")
    ranking = subject_ranking(series, subject, press, vision) if subject else chart_ranking(series, press, vision)
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
