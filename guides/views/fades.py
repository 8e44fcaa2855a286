"""Fades that turn their hue in print, through the whole series."""

from __future__ import annotations

from django.http import HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_safe

from bible.access import EVERYBODY, MemberRequest, member
from bible.models import Series
from bible.presses import condition
from bible.tables_out import answer, wanted
from guides.gradients import fades_of, turning
from guides.keysets import page_of_marks, read_keyset
from guides.lists import fades_table

FADES_A_PAGE = 50


@require_safe
@member(*EVERYBODY)
def fades(request: MemberRequest, series: Series) -> HttpResponseBase:
    """In running order, each with ends that would hold the hue."""
    press = condition(series)
    found = turning(series.marks.fades(), press)
    if wanted(request):
        return answer(request, series, fades_table(series, found, press))
    begins = read_keyset(request.GET.get("after", ""), 3) or (0, 0, 0)
    shown, more = page_of_marks(found, begins, FADES_A_PAGE)
    context = {"series": series, "fades": fades_of(shown, press), "total": found.count(), "more": more}
    return render(request, "guides/fades.html", context)
