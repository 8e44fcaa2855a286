"""The scenes of a series, and what one makes of a subject's tints. Changing a rule is on the guides' side."""

from __future__ import annotations

from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from bible.access import EVERYBODY, MemberRequest, member
from bible.lists import scenes_table
from bible.models import Lock, Series
from bible.models.scenes import Scene
from bible.running_order import LATEST
from bible.tables_out import answer, wanted


@require_safe
@member(*EVERYBODY)
def scenes(request: MemberRequest, series: Series) -> HttpResponseBase:
    if wanted(request):
        return answer(request, series, scenes_table(series, series.scenes.active()))
    return render(request, "bible/scenes.html", {"series": series, "scenes": series.scenes.active()})


@require_safe
@member(*EVERYBODY)
def scene(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The rule, its history, and all of a subject's tints under it; without a subject, of the whole chart."""
    found = get_object_or_404(series.scenes, pk=pk)
    asked = request.GET.get("subject", "")
    subject = series.subjects.filter(pk=asked).first() if asked.isdigit() else None
    context = {
        "series": series,
        "scene": found,
        "rules": found.rules.select_related("decided_by"),
        "subjects": series.subjects.active(),
        "subject": subject,
        "rows": _rows(series, found, subject.pk) if subject else None,
        "chart": [(tint, found.rule.apply(tint, series.chart)) for tint in series.chart.tints] if not subject else [],
    }
    return render(request, "bible/scene.html", context)


def _rows(series: Series, scene: Scene, subject_id: int) -> list[tuple[Lock, object]]:
    locks = Lock.objects.filter(part__costume__subject=subject_id).in_force(LATEST)
    ordered = locks.select_related("part__costume").order_by("part__costume__rank", "part__rank", "part_id", "id")
    return [(lock, scene.rule.apply(lock.tint, series.chart)) for lock in ordered]
