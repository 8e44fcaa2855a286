"""One page guide: its picture, its marks, and the notes beside them."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render

from bible.exports.tables import answer, wanted
from bible.locks.forms import NoteForm
from bible.models import Series
from bible.models.naming import name_of
from bible.models.permissions import Permission
from bible.series.presses import condition
from bible.series.refusals import Refused
from bible.web.access import MemberRequest, member
from bible.web.limits import PRINTS, limited
from bible.web.methods import POST, SAFE
from bible.web.whole_numbers import whole_number
from guides.core.labels import clean_label
from guides.core.notes import NOTES_SHOWN, note_on_mark, notes_of, notes_of_subject
from guides.core.page_maps import outlines_of
from guides.core.services import say_colourist
from guides.core.views import unchanged
from guides.desk.exports import marks_table
from guides.desk.forms import MarkForm
from guides.desk.mark_views import show_changed
from guides.desk.panel import desk_context, mark_rows
from guides.models import Guide, Mark
from guides.uploads.carry_views import carry_context
from guides.uploads.forms import ColouredByForm


@member(Permission.READ, SAFE)
def guide(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """The picture with its numbered marks, one of them open beside it."""
    page = get_object_or_404(Guide.objects.select_related("series", "issue", "colourist"), series=series, pk=pk)
    if wanted(request):
        return answer(request, series, marks_table(series, page, mark_rows(page), condition(series)))
    chosen = _asked_for(request, "mark", page)
    if chosen and chosen.deleted_at:
        chosen = None
    form = MarkForm(page, mark=chosen) if chosen and request.membership.may(Permission.MARK) else None
    asked = whole_number(request.GET.get("found"))
    desk = desk_context(page, request.membership, chosen=chosen, form=form, asked=asked)
    context = desk | carry_context(page)
    deleted = _asked_for(request, "deleted", page)
    if deleted and deleted.deleted_at and request.membership.may(Permission.MARK):
        context |= {"message": f"Mark {deleted.number} deleted.", "undo": deleted}
    return render(request, "guides/desk/guide.html", context)


@member(Permission.READ, SAFE)
@limited(PRINTS, "GET")
def page_areas(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """The outlines of the page's areas, for the desk to light up; browsers keep them and ask each time."""
    page = get_object_or_404(Guide, series=series, pk=pk)
    try:
        outlines = outlines_of(page)
    except OSError as error:
        raise Http404("The picture's file is missing.") from error
    return unchanged(request, str(outlines), lambda: HttpResponse(outlines, content_type="application/json"))


@member(Permission.UPLOAD, POST)
def coloured_by(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Say who coloured the page: whose it is in work, and whose hand its paint is."""
    page = get_object_or_404(Guide.objects.select_related("series", "issue"), series=series, pk=pk)
    form = ColouredByForm(page, request.POST)
    if form.is_valid():
        try:
            somebody = form.cleaned_data["colourist"]
            say_colourist(guide=page, colourist=somebody, by=request.user)
            messages.success(request, f"Coloured by {name_of(somebody) if somebody else 'nobody named'}.")
            return redirect(page)
        except Refused as refusal:
            return show_changed(request, page, None, str(refusal), status=422)
    return show_changed(request, page, None, "Choose a colourist of this series.", status=422)


@member(Permission.READ, SAFE)
def page_of_issue(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The current guide of a page named by its label, one of its marks by its number; else the issue."""
    issue = get_object_or_404(series.issues, pk=pk)
    label = clean_label(request.GET.get("page", "").replace("\0", ""))
    page = Guide.objects.filter(issue=issue, page=label).current().select_related("series").first()
    if page is None:
        return redirect(issue)
    chosen = page.marks.filter(number=whole_number(request.GET.get("mark")) or 0, deleted_at=None).first()
    return redirect(f"{page.get_absolute_url()}?mark={chosen.pk}" if chosen else page)


def _asked_for(request: MemberRequest, name: str, guide: Guide) -> Mark | None:
    """The mark of this guide that an address names by its key; None where it names none."""
    return Mark.objects.filter(guide=guide, pk=whole_number(request.GET.get(name)) or 0).with_names().first()


@member(Permission.DISCUSS, POST)
def note_mark(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """With htmx the answer is the notes in the panel, else the page with the mark open."""
    mark = get_object_or_404(Mark.objects.filter(series=series).with_names().select_related("series"), pk=pk)
    form = NoteForm(request.POST)
    if form.is_valid():
        note_on_mark(mark=mark, text=form.cleaned_data["text"], by=request.user)
        if not request.htmx:
            return redirect(mark)
        form = NoteForm()
    status = 422 if form.errors else 200
    if request.htmx:
        context = {"series": series, "chosen": mark, "note_form": form} | notes_of(mark)
        return render(request, "guides/desk/_mark_notes.html", context, status=status)
    context = {"series": series, "form": form, "title": f"Note on mark {mark.number}", "save": "Keep it"}
    return render(request, "bible/series/form.html", context | {"back": mark.get_absolute_url()}, status=status)


@member(Permission.DISCUSS, SAFE)
def subject_notes(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """What was written beside the marks of a subject."""
    subject = get_object_or_404(series.subjects, pk=pk)
    context = {
        "series": series,
        "subject": subject,
        "notes": notes_of_subject(series, subject),
        "limit": NOTES_SHOWN,
    }
    template = "guides/desk/_subject_notes.html" if request.htmx else "guides/desk/subject_notes.html"
    return render(request, template, context)
