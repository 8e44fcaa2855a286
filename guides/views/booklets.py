"""Booklets of the whole bible: asked for, watched while they are made, stopped, taken along."""

from __future__ import annotations

from django.contrib import messages
from django.http import FileResponse, Http404, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from bible.access import CREW, EVERYBODY, MemberRequest, member
from bible.limits import BOOKLETS, limited
from bible.models import Series
from bible.running_order import AsOf
from guides.colour_sheets.booklet import ask_for_booklet, stop_booklet
from guides.handoff.sheets import file_name
from guides.models import Booklet


@require_safe
@member(*EVERYBODY)
def booklets(request: MemberRequest, series: Series) -> HttpResponse:
    """The booklets there are, and the form to ask for one."""
    return _list(request, series)


def _list(request: MemberRequest, series: Series, unknown: str = "") -> HttpResponse:
    context = {
        "series": series,
        "unknown": unknown,
        "booklets": series.booklets.with_names().newest_first(),
        "issues": series.issues.active().in_order(),
    }
    return render(request, "guides/booklets.html", context, status=422 if unknown else 200)


@require_POST
@member(*CREW)
@limited(BOOKLETS)
def new_booklet(request: MemberRequest, series: Series) -> HttpResponse:
    """Ask for a booklet; an issue that does not exist is refused, since paper outlives a page."""
    as_of = AsOf.of(series, request.POST.get("issue", ""))
    if as_of.unknown:
        return _list(request, series, as_of.unknown)
    booklet, is_new = ask_for_booklet(series=series, issue=as_of.issue, by=request.user)
    if not is_new:
        messages.info(request, f"A booklet {booklet.when} is being made already; ask again when it is there.")
    return redirect(booklet)


def _booklet(series: Series, pk: int) -> Booklet:
    return get_object_or_404(Booklet.objects.with_names(), series=series, pk=pk)


@require_safe
@member(*EVERYBODY)
def booklet(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    template = "guides/_booklet.html" if request.htmx.target == "booklet" else "guides/booklet.html"
    return render(request, template, {"series": series, "booklet": _booklet(series, pk)})


@require_POST
@member(*CREW)
def stop(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    found = _booklet(series, pk)
    if not stop_booklet(booklet=found):
        messages.info(request, "There was nothing left to stop.")
    return redirect(found)


@require_safe
@member(*EVERYBODY)
def booklet_file(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """The PDF, once it is there."""
    found = _booklet(series, pk)
    if found.state != Booklet.State.READY:
        raise Http404("This booklet is not ready.")
    try:
        file = found.file.storage.open(str(found.file.name), "rb")
    except FileNotFoundError as error:
        raise Http404("The booklet's file is missing; ask for it again.") from error
    name = file_name(f"{series.slug} bible {found.when}")
    return FileResponse(file, as_attachment=True, filename=f"{name}.pdf", content_type="application/pdf")
