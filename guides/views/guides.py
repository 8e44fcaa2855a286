"""One page guide: its picture and its marks."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.db.models.fields.files import FieldFile
from django.http import FileResponse, Http404, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from bible.access import EVERYBODY, MARKERS, MemberRequest, member
from bible.models import Series
from bible.names import name_of
from bible.presses import condition
from bible.services import Refused
from bible.tables_out import answer, wanted
from bible.whole_numbers import whole_number
from guides.arrival_forms import ColouredByForm
from guides.forms import MarkForm
from guides.lists import marks_table
from guides.models import Guide, Mark
from guides.pages import clean_label
from guides.services import say_colourist
from guides.views.carrying import carry_context
from guides.views.marks import show_changed
from guides.views.panel import desk_context, mark_rows

PICTURE_TYPES = {".jpg": "image/jpeg", ".png": "image/png", ".tif": "image/tiff", ".webp": "image/webp"}
KEPT_BY_BROWSERS = "private, max-age=31536000, immutable"
"""A stored picture never changes: a new scan is a new revision with an address of its own."""


@require_safe
@member(*EVERYBODY)
def guide(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """The picture with its numbered marks, one of them open beside it."""
    found = get_object_or_404(Guide.objects.select_related("series", "issue", "colourist"), series=series, pk=pk)
    if wanted(request):
        return answer(request, series, marks_table(series, found, mark_rows(found), condition(series)))
    chosen = _asked_for(request, "mark", found)
    if chosen and chosen.deleted_at:
        chosen = None
    form = MarkForm(found, mark=chosen) if chosen and request.membership.may_mark else None
    context = desk_context(found, request.membership, chosen=chosen, form=form) | carry_context(found)
    deleted = _asked_for(request, "deleted", found)
    if deleted and deleted.deleted_at and request.membership.may_mark:
        context |= {"message": f"Mark {deleted.number} deleted.", "undo": deleted}
    return render(request, "guides/guide.html", context)


@require_POST
@member(*MARKERS)
def coloured_by(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Say who coloured the page: whose it is in work, and whose hand its paint is."""
    found = get_object_or_404(Guide.objects.select_related("series", "issue"), series=series, pk=pk)
    form = ColouredByForm(found, request.POST)
    if form.is_valid():
        try:
            somebody = form.cleaned_data["colourist"]
            say_colourist(guide=found, colourist=somebody, by=request.user)
            messages.success(request, f"Coloured by {name_of(somebody) if somebody else 'nobody named'}.")
            return redirect(found)
        except Refused as refusal:
            return show_changed(request, found, None, str(refusal), status=422)
    return show_changed(request, found, None, "Choose a colourist of this series.", status=422)


@require_safe
@member(*EVERYBODY)
def page_of_issue(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The current guide of a page named by its label, one of its marks by its number; else the issue."""
    issue = get_object_or_404(series.issues, pk=pk)
    label = clean_label(request.GET.get("page", "").replace("\0", ""))
    found = Guide.objects.filter(issue=issue, page=label).current().select_related("series").first()
    if found is None:
        return redirect(issue)
    chosen = found.marks.filter(number=whole_number(request.GET.get("mark")) or 0, deleted_at=None).first()
    return redirect(f"{found.get_absolute_url()}?mark={chosen.pk}" if chosen else found)


def _asked_for(request: MemberRequest, name: str, guide: Guide) -> Mark | None:
    """The mark of this guide that an address names by its key; None where it names none."""
    return Mark.objects.filter(guide=guide, pk=whole_number(request.GET.get(name)) or 0).with_names().first()


@require_safe
@member(*EVERYBODY)
def picture(request: MemberRequest, series: Series, pk: int, kind: str) -> HttpResponseBase:
    """A guide's picture, to members only; the web server in front may do the sending."""
    found = get_object_or_404(Guide, series=series, pk=pk)
    return stored_picture({"original": found.original, "screen": found.screen, "thumb": found.thumb}[kind])


def stored_picture(file: FieldFile) -> HttpResponseBase:
    """A stored picture, which never changes. Raises ``Http404`` where its file is missing or was never there."""
    if not file:
        raise Http404("There is no such picture.")
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
