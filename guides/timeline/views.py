"""The timeline of a subject or of one of its parts."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponseBase
from django.shortcuts import get_object_or_404, render

from bible.exports.tables import answer, wanted
from bible.models import Part, Series, Subject
from bible.models.permissions import Permission
from bible.series.presses import condition
from bible.series.running_order import RunningOrder
from bible.subjects.forms import EditCostumeForm
from bible.web.access import MemberRequest, member
from bible.web.methods import SAFE
from bible.web.whole_numbers import whole_number
from guides.timeline.exports import timeline_table
from guides.timeline.queries import timeline
from guides.timeline.strips import strip_of


def worn_strips(subject: Subject, chosen: Part | None, *, with_forms: bool) -> list[dict[str, Any]]:
    """When each costume is worn, with the form that changes it for who may."""
    order = RunningOrder.of(subject.series)
    costumes = subject.costumes.active().prefetch_related("stretches")
    if chosen:
        costumes = costumes.filter(pk=chosen.costume_id)
    return [
        {
            "strip": strip_of(costume, order),
            "form": EditCostumeForm(subject, instance=costume, auto_id=False) if with_forms else None,
        }
        for costume in costumes
    ]


@member(Permission.READ, SAFE)
def subject_timeline(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    subject = get_object_or_404(series.subjects, pk=pk)
    parts = Part.objects.filter(costume__subject=subject).with_names()
    chosen = parts.filter(pk=whole_number(request.GET.get("part")) or 0).first()
    lanes = timeline(series, [chosen] if chosen else parts, condition(series))
    if wanted(request):
        return answer(request, series, timeline_table(series, subject, lanes))
    may = request.membership.may(Permission.EDIT_BIBLE)
    context = {
        "strips": worn_strips(subject, chosen, with_forms=may),
        "series": series,
        "subject": subject,
        "parts": parts,
        "chosen": chosen,
        "timeline": lanes,
    }
    return render(request, "guides/timeline/timeline.html", context)
