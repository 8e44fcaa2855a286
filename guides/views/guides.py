"""One page guide: its picture, its marks, and how it comes in."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.http import FileResponse, Http404, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from bible.access import EVERYBODY, MARKERS, MemberRequest, member
from bible.models import Issue, Series
from bible.services import Refused
from guides.forms import MarkForm, UploadForm
from guides.imaging.intake import IntakeError, take_in
from guides.models import Guide, Mark
from guides.pages import clean_label, label_from_filename
from guides.services import add_guide
from guides.views.panel import desk_context

PICTURE_TYPES = {".jpg": "image/jpeg", ".png": "image/png", ".tif": "image/tiff", ".webp": "image/webp"}
LONGEST_KEY = 18
"""Figures in a primary key that both databases can still hold."""

LONGEST_NUMBER = 9
"""Figures in a mark's number; more fit no column."""

KEPT_BY_BROWSERS = "private, max-age=31536000, immutable"
"""A stored picture never changes: a new scan is a new revision with an address of its own."""


@require_safe
@member(*EVERYBODY)
def guide(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The picture with its numbered marks, one of them open beside it."""
    found = get_object_or_404(Guide.objects.select_related("series", "issue", "colourist"), series=series, pk=pk)
    chosen = _asked_for(request, "mark", found)
    if chosen and chosen.deleted_at:
        chosen = None
    form = MarkForm(found, mark=chosen) if chosen and request.membership.may_mark else None
    context = desk_context(found, request.membership, chosen=chosen, form=form)
    deleted = _asked_for(request, "deleted", found)
    if deleted and deleted.deleted_at and request.membership.may_mark:
        context |= {"message": f"Mark {deleted.number} deleted.", "undo": deleted}
    return render(request, "guides/guide.html", context)


@require_safe
@member(*EVERYBODY)
def page_of_issue(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The current guide of a page named by its label, one of its marks by its number; else the issue."""
    issue = get_object_or_404(series.issues, pk=pk)
    label = clean_label(request.GET.get("page", "").replace("\0", ""))
    found = Guide.objects.filter(issue=issue, page=label).current().select_related("series").first()
    if found is None:
        return redirect(issue)
    number = request.GET.get("mark", "")
    if number.isascii() and number.isdigit() and len(number) < LONGEST_NUMBER:
        chosen = found.marks.filter(number=number, deleted_at=None).first()
        if chosen:
            return redirect(f"{found.get_absolute_url()}?mark={chosen.pk}")
    return redirect(found)


def _asked_for(request: MemberRequest, name: str, guide: Guide) -> Mark | None:
    """The mark of this guide that an address names by its key; None where it names none."""
    key = request.GET.get(name, "")
    if not (key.isascii() and key.isdigit() and len(key) <= LONGEST_KEY):
        return None
    return Mark.objects.filter(guide=guide, pk=key).with_names().first()


@require_http_methods(["GET", "HEAD", "POST"])
@member(*MARKERS)
def upload(request: MemberRequest, series: Series, issue_pk: int) -> HttpResponse:
    """Take scans in; each stands for itself, so that a bad one is refused and the rest go on."""
    issue = get_object_or_404(series.issues, pk=issue_pk)
    sent = request.method == "POST"
    form = UploadForm(series, request.POST if sent else None, request.FILES if sent else None)
    if form.is_valid():
        stored, refused = _store(request, issue, form)
        if stored:
            messages.success(request, f"Stored: {', '.join(str(one) for one in stored)}.")
        if not refused:
            return redirect(stored[0] if len(stored) == 1 else issue)
        form.add_error("scans", refused)
    status = 422 if form.errors else 200
    context = {"series": series, "issue": issue, "form": form}
    return render(request, "guides/upload.html", context, status=status)


def _store(request: MemberRequest, issue: Issue, form: UploadForm) -> tuple[list[Guide], list[str]]:
    """The guides that came in, and why the other files did not. A page comes once: a second file for it would make
    the first an old revision before anybody saw it."""
    stored: list[Guide] = []
    refused: list[str] = []
    for file, said in form.pages():
        name = file.name or ""
        page = clean_label(said or label_from_filename(name))
        try:
            if any(page == guide.page for guide in stored):
                raise Refused(f"page {page} came with another file already; say which page this one is.")
            stored.append(
                add_guide(
                    issue=issue,
                    page=page,
                    picture=take_in(file, name),
                    original=file,
                    filename=name,
                    by=request.user,
                    colourist=form.cleaned_data["colourist"],
                )
            )
        except (IntakeError, Refused) as refusal:
            refused.append(f"{name}: {refusal}")
    return stored, refused


@require_safe
@member(*EVERYBODY)
def picture(request: MemberRequest, series: Series, pk: int, kind: str) -> HttpResponseBase:
    """A guide's picture, to members only; the web server in front may do the sending."""
    found = get_object_or_404(Guide, series=series, pk=pk)
    file = {"original": found.original, "screen": found.screen, "thumb": found.thumb}[kind]
    suffix = "." + str(file.name).rsplit(".", 1)[-1]
    if settings.SENDFILE_PREFIX:
        response: HttpResponseBase = HttpResponse()
        response["X-Accel-Redirect"] = f"{settings.SENDFILE_PREFIX}/{file.name}"
    else:
        try:
            response = FileResponse(file.open("rb"))
        except FileNotFoundError as error:
            raise Http404("The picture's file is missing.") from error
    response["Content-Type"] = PICTURE_TYPES.get(suffix, "application/octet-stream")
    response["Cache-Control"] = KEPT_BY_BROWSERS
    response["X-Content-Type-Options"] = "nosniff"
    return response
