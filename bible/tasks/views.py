"""Work in the background as people see it: what is being done for a series, how far it is, and stopping it."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from bible.models import Job, Series
from bible.models.permissions import Permission
from bible.tasks.services import stop
from bible.web.access import MemberRequest, member
from bible.web.methods import POST, SAFE

SHOWN = 50
"""Jobs on the page, of those that are open and of those that ended: what somebody asked for lately and looks for."""


@member(Permission.READ, SAFE)
def work(request: MemberRequest, series: Series) -> HttpResponse:
    """What waits, what is being done, and what ended lately."""
    jobs = Job.objects.filter(series=series).with_run()
    waiting = jobs.open().count()
    context = {
        "series": series,
        # What is being done first; a whole year's pages may wait behind it.
        "open_jobs": jobs.open().order_by("-run__status", "id")[:SHOWN],
        "more": max(0, waiting - SHOWN),
        "ended_jobs": jobs.exclude(ended_at=None).order_by("-ended_at")[:SHOWN],
    }
    return render(request, "bible/tasks/work.html", context)


def _job(series: Series, pk: int) -> Job:
    return get_object_or_404(Job.objects.with_run(), series=series, pk=pk)


@member(Permission.READ, SAFE)
def job(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """How far it is; a page that shows it is loaded anew once it has ended."""
    asked_job = _job(series, pk)
    if request.htmx and not asked_job.is_open:
        return HttpResponse(headers={"HX-Refresh": "true"})
    template = "bible/tasks/_job.html" if request.htmx else "bible/tasks/job.html"
    return render(request, template, {"series": series, "job": asked_job})


@member(Permission.READ, POST)
def stop_job(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Stop what one has asked for oneself; a lead stops anything."""
    asked_job = _job(series, pk)
    if asked_job.asked_by != request.user and not request.membership.may(Permission.SET_UP):
        raise Http404("Not yours to stop.")
    if not stop(job=asked_job, why="Somebody stopped it."):
        messages.info(request, "There was nothing left to stop.")
    return redirect(asked_job.page or asked_job)
