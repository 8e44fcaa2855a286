"""One page guide: its picture, its marks, and how it comes in."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.http import FileResponse, Http404, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_safe

from bible.access import EVERYBODY, MARKERS, MemberRequest, member
from bible.models import Series
from guides.forms import MarkForm, UploadForm
from guides.imaging.intake import IntakeError, take_in
from guides.models import Guide, Mark
from guides.pages import label_from_filename
from guides.services import add_guide
from guides.views.panel import page_context

PICTURE_TYPES = {".jpg": "image/jpeg", ".png": "image/png", ".tif": "image/tiff", ".webp": "image/webp"}
KEPT_BY_BROWSERS = "private, max-age=31536000, immutable"
"""A stored picture never changes: a new scan is a new revision with an address of its own."""


@member(*EVERYBODY)
def guide(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The picture with its numbered marks, one of them open beside it."""
    found = get_object_or_404(Guide.objects.select_related("series", "issue", "colourist"), series=series, pk=pk)
    asked = request.GET.get("mark", "")
    chosen = Mark.objects.filter(guide=found, pk=asked).with_names().first() if asked.isdigit() else None
    form = MarkForm(found, mark=chosen) if chosen and request.membership.may_mark else None
    context = page_context(found, request.membership, chosen=chosen, form=form)
    neighbours = list(Guide.objects.filter(issue=found.issue).current().in_order())
    context["pages"] = neighbours
    context["revisions"] = Guide.objects.filter(issue=found.issue, page=found.page).order_by("-revision")
    return render(request, "guides/guide.html", context)


@member(*MARKERS)
def upload(request: MemberRequest, series: Series, issue_pk: int) -> HttpResponse:
    """Take scans in; each stands for itself, so that a bad one is refused and the rest go on."""
    issue = get_object_or_404(series.issues, pk=issue_pk)
    form = UploadForm(series, request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        stored, refused = [], []
        for file, page in form.pages():
            name = file.name or ""
            try:
                stored.append(
                    add_guide(
                        issue=issue,
                        page=page or label_from_filename(name),
                        picture=take_in(file, name),
                        original=file,
                        filename=name,
                        by=request.user,
                        colourist=form.cleaned_data["colourist"],
                    )
                )
            except IntakeError as error:
                refused.append(f"{name}: {error.message}")
        if stored:
            messages.success(request, f"Stored: {', '.join(str(one) for one in stored)}.")
        if not refused:
            return redirect(stored[0] if len(stored) == 1 else issue)
        form.add_error("scans", refused)
    status = 422 if form.errors else 200
    context = {"series": series, "issue": issue, "form": form}
    return render(request, "guides/upload.html", context, status=status)


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
