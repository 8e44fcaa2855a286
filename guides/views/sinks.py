"""What sinks into its neighbour, through an issue."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from bible.access import CREW, EVERYBODY, MemberRequest, member
from bible.limits import PAINT_READINGS, limited
from bible.models import Issue, Series
from bible.presses import condition
from bible.tables_out import answer, wanted
from guides.lists import neighbours_table
from guides.sinks import look_at_pages, neighbours_of


def _issue(series: Series, pk: int) -> Issue:
    found = get_object_or_404(series.issues, pk=pk)
    found.series = series
    return found


@require_safe
@member(*EVERYBODY)
def neighbours(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """Marked areas of an issue that touch and print look-alike, page by page."""
    issue = _issue(series, pk)
    found = neighbours_of(issue)
    if wanted(request):
        return answer(request, series, neighbours_table(series, issue, found, condition(series)))
    return render(request, "guides/neighbours.html", {"series": series, "issue": issue, "found": found})


@require_POST
@member(*CREW)
@limited(PAINT_READINGS)
def look_at_neighbours(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Print the pages that wait, as many as a request has time for, and note what sinks."""
    issue = _issue(series, pk)
    done, left = look_at_pages(neighbours_of(issue).waiting)
    said = f"{done} page{'' if done == 1 else 's'} looked at."
    messages.success(request, said + (f" {left} still wait: ask again." if left else ""))
    return redirect("neighbours", series.slug, issue.pk)
