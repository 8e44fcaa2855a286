"""The timeline of a subject or of one of its parts."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render

from bible.access import EVERYBODY, MemberRequest, member
from bible.models import Part, Series
from bible.presses import condition
from guides.timeline import timeline


@member(*EVERYBODY)
def subject_timeline(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    subject = get_object_or_404(series.subjects, pk=pk)
    parts = Part.objects.filter(costume__subject=subject).with_names()
    asked = request.GET.get("part", "")
    chosen = parts.filter(pk=asked).first() if asked.isdigit() else None
    context = {
        "series": series,
        "subject": subject,
        "parts": parts,
        "chosen": chosen,
        "timeline": timeline(series, [chosen] if chosen else parts, condition(series)),
    }
    return render(request, "guides/timeline.html", context)
