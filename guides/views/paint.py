"""What the paint says: beside a mark, and in a list of marks whose paint disagrees with their code."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from bible.access import EVERYBODY, MARKERS, MemberRequest, member
from bible.limits import PAINT_READINGS, limited
from bible.models import Issue, Series
from bible.tables_out import answer, wanted
from guides.forms import PlaceForm
from guides.lists import paint_table
from guides.models import Guide, Mark, PaintReading
from guides.paint import (
    NEWEST,
    Voice,
    look_at,
    pages_done,
    read_guides,
    told,
    unread,
    voice_at,
    voice_of,
)

LONGEST_LIST = 200


def _answer(request: MemberRequest, guide: Guide, voice: Voice | None, mark: Mark | None) -> HttpResponse:
    template = "guides/_paint_says.html" if request.htmx else "guides/paint_says.html"
    return render(request, template, {"series": guide.series, "guide": guide, "voice": voice, "mark": mark})


@require_safe
@member(*EVERYBODY)
def mark_paint(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """What the paint says at a mark that stands."""
    mark = get_object_or_404(Mark.objects.select_related("guide__issue", "guide__series"), series=series, pk=pk)
    return _answer(request, mark.guide, voice_of(mark), mark)


@require_safe
@member(*EVERYBODY)
def place_paint(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """What the paint says at a place; an unfinished one says nothing."""
    guide = get_object_or_404(Guide.objects.select_related("series", "issue"), series=series, pk=pk)
    form = PlaceForm(request.GET)
    voice = voice_at(guide, **form.cleaned_data) if form.is_valid() else None
    return _answer(request, guide, voice, None)


@require_safe
@member(*EVERYBODY)
def series_paint(request: MemberRequest, series: Series) -> HttpResponseBase:
    """Marks whose paint disagrees with their code, over the whole series, and pages that wait to be read."""
    return _list(request, series, None)


@require_safe
@member(*EVERYBODY)
def issue_paint(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    return _list(request, series, get_object_or_404(series.issues, pk=pk))


def _list(request: HttpRequest, series: Series, issue: Issue | None) -> HttpResponseBase:
    guides = Guide.objects.filter(series=series).current()
    found = PaintReading.objects.filter(series=series).disagreeing()
    if issue:
        guides, found = guides.filter(issue=issue), found.filter(mark__guide__issue=issue)
    since = 0 if issue or wanted(request) else series.issues.newest_from(NEWEST)
    waits = guides.filter(pk__in=unread(series, issue, since=since))
    waiting = list(waits.in_order().select_related("issue"))
    rows = found.with_marks().order_by("-mark__position", "mark__page_order", "mark__number", "mark_id")
    if wanted(request):
        return answer(request, series, paint_table(series, rows, waiting, issue))
    readings = list(rows[:LONGEST_LIST])
    for reading in readings:
        reading.mark.series = series
    context = {
        "series": series,
        "issue": issue,
        "rows": [(reading, told(reading)) for reading in readings],
        "count": found.count(),
        "pages": guides.count(),
        "waiting": waiting,
        "newest": NEWEST if since else None,
    }
    return render(request, "guides/paint.html", context)


@require_POST
@member(*MARKERS)
@limited(PAINT_READINGS)
def read_issue(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Read the pages of an issue that wait, as many as a request has time for."""
    issue = get_object_or_404(series.issues, pk=pk)
    waiting = unread(series, issue)
    guides = Guide.objects.filter(issue=issue).current().in_order().select_related("series")
    done, left = read_guides([guide for guide in guides if guide.pk in waiting])
    messages.success(request, pages_done(done, left, "read"))
    return redirect("issue-paint", series.slug, issue.pk)


@require_POST
@member(*MARKERS)
def looked_at(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Somebody looked: the code is as meant, whatever the paint says. It stays so until the mark changes."""
    mark = get_object_or_404(Mark.objects.select_related("guide__issue", "guide__series"), series=series, pk=pk)
    done = look_at(mark=mark, by=request.user)
    if request.htmx:
        return _answer(request, mark.guide, voice_of(mark), mark)
    said = f"Mark {mark.number}: the code is as meant." if done else "The paint there does not disagree any more."
    messages.add_message(request, messages.SUCCESS if done else messages.INFO, said)
    return redirect("issue-paint", series.slug, mark.guide.issue_id)
