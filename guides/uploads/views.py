"""Bringing pages in: the list before, the pieces of each file, and the plain form for browsers without JavaScript."""

from __future__ import annotations

import logging
import re
from typing import Any

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from bible.models import Issue, Series
from bible.models.naming import name_of
from bible.models.permissions import Permission
from bible.series.refusals import Refused
from bible.web.access import MemberRequest, member
from bible.web.limits import PICTURES, limited
from bible.web.methods import FORM, POST
from bible.web.outages import outage_of
from guides.core.labels import clean_label, labels_from_filenames
from guides.core.pictures import sharer
from guides.core.services import add_guide, checked_label
from guides.found.tasks import ask_for_codes
from guides.imaging.intake.formats import ACCEPT, ACCEPTED_WORDS
from guides.imaging.intake.rules import IntakeError
from guides.imaging.intake.take_in import take_in
from guides.models import Arrival, Guide
from guides.uploads import services as arrivals
from guides.uploads.carry_views import waiting
from guides.uploads.forms import ArrivalForm, ChosenFiles, UploadForm
from guides.uploads.queries import MOST_FILES, foresee
from guides.uploads.tasks import ask_for_map

log = logging.getLogger(__name__)

AT_ONCE = 2
"""Files sent side by side: while one is looked at, the other one comes."""

BUSY_WAIT = 10
"""Seconds after which what is busy may be asked again."""

_RANGE = re.compile(r"bytes (?P<first>\d{1,12})-(?P<last>\d{1,12})/(?P<size>\d{1,12})", re.ASCII)
"""Content-Range of RFC 9110, section 14.4; a partial body sent to go on with a file."""


@member(Permission.UPLOAD, FORM)
@limited(PICTURES, cost=lambda request: max(1, len(request.FILES.getlist("scans"))))
def upload(request: MemberRequest, series: Series, issue_pk: int) -> HttpResponse:
    """The place to drop scans; a plain POST of several files stores them at once, each standing for itself."""
    issue = get_object_or_404(series.issues, pk=issue_pk)
    sent = request.method == "POST"
    form = UploadForm(series, request.POST if sent else None, request.FILES if sent else None)
    if form.is_valid():
        stored, refused = _store(request, issue, form)
        if stored:
            messages.success(request, f"Stored: {', '.join(str(guide) for guide in stored)}.")
        if not refused:
            if len(stored) == 1 and waiting(issue).filter(pk=stored[0].pk).exists():
                return redirect("carry", series.slug, stored[0].pk)
            return redirect(stored[0] if len(stored) == 1 else issue)
        form.add_error("scans", refused)
    return render(
        request, "guides/uploads/upload.html", _page(request, issue, form), status=422 if form.errors else 200
    )


def _page(request: MemberRequest, issue: Issue, form: UploadForm) -> dict[str, Any]:
    here = Arrival.objects.filter(issue=issue)
    mine, others = here.sent_by(request.user), here.unfinished().exclude(started_by=request.user)
    if not request.membership.may(Permission.SET_UP):
        others = others.none()
    return {
        "series": issue.series,
        "issue": issue,
        "form": form,
        "half_sent": mine.unfinished().order_by("id"),
        "cancelled": mine.filter(refused__startswith=arrivals.CANCELLED).order_by("id"),
        "half_sent_by_others": others.select_related("started_by").order_by("id"),
        "at_once": AT_ONCE,
        "piece_bytes": arrivals.PIECE_BYTES,
        "most_files": MOST_FILES,
        "accept": ACCEPT,
        "picture_words": ACCEPTED_WORDS,
        "kept_hours": int(arrivals.KEPT_FOR.total_seconds() // 3600),
    }


def _store(request: MemberRequest, issue: Issue, form: UploadForm) -> tuple[list[Guide], list[str]]:
    """The guides that came in, and why the other files did not. A page comes once: a second file for it would make
    the first an old revision before anybody saw it. A file that the series had before needs a yes."""
    files = form.cleaned_data["scans"]
    page = form.cleaned_data["page"]
    labels = [page] if page else labels_from_filenames([file.name or "" for file in files], issue.number)
    stored: list[Guide] = []
    refused: list[str] = []
    for file, label in zip(files, labels, strict=True):
        try:
            stored.append(_store_one(request, issue, form, file, clean_label(label), stored))
        except (IntakeError, Refused) as refusal:
            refused.append(f"{file.name or ''}: {refusal}{form.asked(refusal)}")
    return stored, refused


def _store_one(
    request: MemberRequest, issue: Issue, form: UploadForm, file: UploadedFile, page: str, stored: list[Guide]
) -> Guide:
    """One of the files; what is odd about it is said, what forbids it raised (``IntakeError``, ``Refused``)."""
    if any(page == guide.page for guide in stored):
        raise Refused(f"page {page} came with another file already; say which page this one is.")
    name, by = file.name or "", {"by": request.user, "colourist": form.cleaned_data["colourist"]}
    picture = take_in(file, name, who=sharer(request.user.pk), damaged=form.cleaned_data["damaged"])
    twin = arrivals.known_contents(issue.series, [picture.sha256]).get(picture.sha256)
    if twin and twin not in stored and not form.cleaned_data["again"]:
        raise Refused(f"this very file is here already: {arrivals.where(twin)}. Tick “again” to store it.")
    guide = add_guide(issue=issue, page=page, picture=picture, original=file, filename=name, **by)
    ask_for_map(guide=guide, by=request.user)
    ask_for_codes(guide=guide, by=request.user)
    for note in picture.notes:
        messages.warning(request, f"{name}: {note}")
    if twin:
        messages.warning(request, f"{name} is the same file as {arrivals.where(twin)}.")
    return guide


@member(Permission.UPLOAD, POST)
def foreseen(request: MemberRequest, series: Series, issue_pk: int) -> HttpResponse:
    """What would become of the files chosen: labels, clashes, revisions, duplicates. Stores nothing."""
    issue = get_object_or_404(series.issues, pk=issue_pk)
    chosen = ChosenFiles(request.POST)
    context = {"series": series, "issue": issue, "trouble": chosen.trouble}
    if not chosen.trouble:
        rows = foresee(issue=issue, files=chosen.files, by=request.user)
        context |= {"arrival_rows": rows, "ready": sum(row.is_ready for row in rows)}
    status = 422 if chosen.trouble else 200
    if request.htmx:
        return render(request, "guides/uploads/_arrivals.html", context, status=status)
    return render(
        request, "guides/uploads/upload.html", _page(request, issue, UploadForm(series)) | context, status=status
    )


@member(Permission.UPLOAD, POST)
@limited(PICTURES)
def begin(request: MemberRequest, series: Series, issue_pk: int) -> HttpResponse:
    """Begin to send one file, or go on with it."""
    issue = get_object_or_404(series.issues, pk=issue_pk)
    form = ArrivalForm(series, request.POST)
    if not form.is_valid():
        return _says(422, "refused", " ".join(form.problems()))
    try:
        return _how_it_stands(arrivals.start(issue=issue, by=request.user, **form.cleaned_data), 201)
    except arrivals.NeedsYes as question:
        return _in_words(question)
    except Refused as refusal:
        return _says(422, "refused", str(refusal))


@member(Permission.UPLOAD, (*FORM, "PATCH", "DELETE"))
def arrival(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """One's own file on its way: GET says how much is here, PATCH brings the next piece, POST stores what is all
    here, and DELETE forgets it."""
    with_all = Arrival.objects.select_related("series", "issue", "guide__series", "started_by", "colourist")
    held = get_object_or_404(with_all.sent_by(request.user), series=series, pk=pk)
    if request.method == "DELETE":
        arrivals.give_up(arrival=held)
        return HttpResponse(status=204)
    deed = {"PATCH": _next_piece, "POST": _finished}.get(str(request.method))
    try:
        return deed(request, held) if deed else _how_it_stands(held)
    except arrivals.OutOfStep as gap:
        return _how_it_stands(gap.arrival, 409 if request.method == "PATCH" else 422)
    except (arrivals.NeedsYes, arrivals.AtWork, IntakeError, Refused, OSError) as trouble:
        return _in_words(trouble)


@member(Permission.UPLOAD, POST)
def cancel_arrival(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Let a half-sent file come no further: one's own, and for a lead anybody's, who is told."""
    theirs = Arrival.objects.filter(series=series).select_related("issue", "started_by")
    if not request.membership.may(Permission.SET_UP):
        theirs = theirs.sent_by(request.user)
    held = get_object_or_404(theirs, pk=pk)
    try:
        arrivals.cancel(arrival=held, by=request.user)
        messages.success(request, f"{held.filename} of {name_of(held.started_by)} does not come in.")
    except Refused as refusal:
        messages.info(request, str(refusal))
    return redirect("upload", series.slug, held.issue_id)


def _in_words(trouble: Exception) -> HttpResponse:
    """Why a file is not stored yet, or never will be."""
    match trouble:
        case arrivals.NeedsYes():
            return _says(409, "asks", str(trouble), to=trouble.to)
        case arrivals.AtWork():
            return _says(202, "working", str(trouble))
        case IntakeError() if trouble.reason in arrivals.NOT_THE_FILES_FAULT:
            return _says(503, "busy", trouble.message)
        case IntakeError():
            return _says(422, "refused", trouble.message)
        case Refused():
            return _says(422, "refused", str(trouble))
        case _ if amiss := outage_of(trouble):
            log.error("a piece could not be stored: %s", amiss.title)
            return _says(amiss.status, "busy", f"{amiss.words} What has come is kept.", wait=amiss.wait)
        case _:  # the store does not answer
            log.error("a piece could not be stored: %s", type(trouble).__name__)
            return _says(503, "busy", "Pictures can't be stored just now. What has come is kept.")


def _next_piece(request: MemberRequest, held: Arrival) -> JsonResponse:
    content_range = _RANGE.fullmatch(request.headers.get("Content-Range", ""))
    if content_range is None:
        return _says(400, "refused", "A piece needs its place: Content-Range: bytes first-last/size.")
    first, last, size = (int(content_range[name]) for name in ("first", "last", "size"))
    if size != held.byte_size or not first <= last < size or last - first >= arrivals.MOST_PIECE_BYTES:
        return _says(
            416, "refused", f"A piece is at most {arrivals.MOST_PIECE_BYTES} bytes of the {held.byte_size} announced."
        )
    return _how_it_stands(arrivals.append(arrival=held, at=first, stream=request))


def _finished(request: MemberRequest, held: Arrival) -> JsonResponse:
    if page := request.POST.get("page", ""):
        held.page = checked_label(page)
        Arrival.objects.filter(pk=held.pk, guide=None).update(page=held.page)
    yes = {to: request.POST.get(to) == "1" for to in ("again", "damaged")}
    guide, picture = arrivals.finish(arrival=held, **yes)
    answer = {
        "state": "stored",
        "message": f"{guide}, revision {guide.revision}" if guide.revision > 1 else str(guide),
        "url": guide.get_absolute_url(),
        "notes": list(picture.notes) if picture else [],
    }
    if waiting(guide.issue).filter(pk=guide.pk).exists():
        answer["carry"] = reverse("carry", args=[guide.series.slug, guide.pk])
    return JsonResponse(answer)


def _how_it_stands(held: Arrival, status: int = 200) -> JsonResponse:
    return JsonResponse(
        {
            "state": held.state,
            "url": held.get_absolute_url(),
            "offset": held.received,
            "size": held.byte_size,
            "message": held.refused,
        },
        status=status,
    )


def _says(status: int, state: str, message: str, wait: int = BUSY_WAIT, **more: str) -> JsonResponse:
    headers = {"Retry-After": str(wait)} if state == "busy" else {}
    return JsonResponse({"state": state, "message": message} | more, status=status, headers=headers)
