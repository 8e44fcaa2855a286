"""Notes beside marks and their flags."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from bible.access import CREW, MemberRequest, member
from bible.forms.notes import NoteForm
from bible.models import Series
from guides.exceptions import note_on_mark
from guides.models import Mark
from guides.notes import NOTES_SHOWN, notes_of, notes_of_subject


@require_POST
@member(*CREW)
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
        return render(request, "guides/_mark_notes.html", context, status=status)
    context = {"series": series, "form": form, "title": f"Note on mark {mark.number}", "save": "Keep it"}
    return render(request, "bible/form.html", context | {"back": mark.get_absolute_url()}, status=status)


@require_safe
@member(*CREW)
def subject_notes(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """What was written beside the marks of a subject."""
    subject = get_object_or_404(series.subjects, pk=pk)
    context = {
        "series": series,
        "subject": subject,
        "notes": notes_of_subject(series, subject),
        "limit": NOTES_SHOWN,
    }
    template = "guides/_subject_notes.html" if request.htmx else "guides/subject_notes.html"
    return render(request, template, context)
