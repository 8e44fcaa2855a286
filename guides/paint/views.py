"""What the paint says: beside a mark, and in a list of marks whose paint disagrees with their code."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render

from bible.exports.tables import answer, wanted
from bible.models import Issue, Series
from bible.models.permissions import Permission
from bible.web.access import MemberRequest, member
from bible.web.limits import PAINT_READINGS, limited
from bible.web.methods import POST, SAFE
from bible.web.names import counted
from guides.core.once import new_key
from guides.models import Guide, GuideQuerySet, Mark, PaintReading, PaintReadingQuerySet
from guides.paint.exports import paint_table
from guides.paint.forms import PlaceForm
from guides.paint.services import NEWEST, Voice, told, unread, voice_at, voice_of
from guides.paint.tasks import ask_for_paint

LONGEST_LIST = 200
AT_ONCE = dt.timedelta()


def _answer(request: MemberRequest, guide: Guide, voice: Voice | None, mark: Mark | None) -> HttpResponse:
    template = "guides/paint/_paint_says.html" if request.htmx else "guides/paint/paint_says.html"
    return render(request, template, paint_context(guide, voice, mark))


def paint_context(guide: Guide, voice: Voice | None, mark: Mark | None) -> dict[str, object]:
    return {"series": guide.series, "guide": guide, "voice": voice, "mark": mark, "look_key": new_key()}


@member(Permission.READ, SAFE)
def mark_paint(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """What the paint says at a mark that stands."""
    mark = get_object_or_404(Mark.objects.select_related("guide__issue", "guide__series"), series=series, pk=pk)
    return _answer(request, mark.guide, voice_of(mark), mark)


@member(Permission.READ, SAFE)
def place_paint(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """What the paint says at a place; an unfinished one says nothing."""
    guide = get_object_or_404(Guide.objects.select_related("series", "issue"), series=series, pk=pk)
    form = PlaceForm(request.GET)
    voice = voice_at(guide, **form.cleaned_data) if form.is_valid() else None
    return _answer(request, guide, voice, None)


@member(Permission.READ, SAFE)
def series_paint(request: MemberRequest, series: Series) -> HttpResponseBase:
    """Marks whose paint disagrees with their code, over the whole series, and pages that wait to be read."""
    return _list(request, series, None)


@member(Permission.READ, SAFE)
def issue_paint(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    return _list(request, series, get_object_or_404(series.issues, pk=pk))


def _list(request: HttpRequest, series: Series, issue: Issue | None) -> HttpResponseBase:
    guides, readings = _pages_and_readings(series, issue)
    disagreeing = readings.disagreeing()
    since = 0 if issue or wanted(request) else series.issues.newest_from(NEWEST)
    waiting = list(guides.filter(pk__in=unread(series, issue, since=since)).in_order().select_related("issue"))
    rows = disagreeing.with_marks().order_by("-mark__position", "mark__page_order", "mark__number", "mark_id")
    if wanted(request):
        return answer(request, series, paint_table(series, rows, waiting, issue))
    context = {
        "series": series,
        "issue": issue,
        "rows": _told(series, rows[:LONGEST_LIST]),
        "count": disagreeing.count(),
        "meant": readings.called_meant().with_marks().order_by("-looked_at", "-id")[:LONGEST_LIST],
        "pages": guides.count(),
        "waiting": waiting,
        "newest": NEWEST if since else None,
    }
    return render(request, "guides/paint/paint.html", context)


def _pages_and_readings(series: Series, issue: Issue | None) -> tuple[GuideQuerySet, PaintReadingQuerySet]:
    """Of one issue, or of all."""
    guides = Guide.objects.filter(series=series).current()
    readings = PaintReading.objects.filter(series=series)
    if issue is None:
        return guides, readings
    return guides.filter(issue=issue), readings.filter(mark__guide__issue=issue)


def _told(series: Series, readings: Iterable[PaintReading]) -> list[tuple[PaintReading, Any]]:
    """Each reading with what it says in words."""
    rows = []
    for reading in readings:
        reading.mark.series = series
        rows.append((reading, told(reading)))
    return rows


@member(Permission.MARK, POST)
@limited(PAINT_READINGS)
def read_issue(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Have the pages of an issue that wait read in the background."""
    issue = get_object_or_404(series.issues, pk=pk)
    waiting = unread(series, issue)
    guides = Guide.objects.filter(issue=issue, pk__in=waiting).current().in_order().select_related("series", "issue")
    for guide in guides:
        ask_for_paint(guide=guide, by=request.user, after=AT_ONCE)
    pages = counted(len(guides), "page")
    messages.success(request, f"{pages} will be read in the background; look again in a while.")
    return redirect("issue-paint", series.slug, issue.pk)
