"""Notes beside locks."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from bible.access import CREW, MemberRequest, member
from bible.forms.notes import NoteForm
from bible.models import Lock, Series
from bible.services import note_on_lock


@require_http_methods(["GET", "HEAD", "POST"])
@member(*CREW)
def note_lock(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Write a note beside a decision. With htmx the answer is the notes of that decision, else its line in the
    history."""
    found = get_object_or_404(
        Lock.objects.filter(series=series).select_related("part__costume__subject__series", "decided_by"), pk=pk
    )
    form = NoteForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        note_on_lock(lock=found, text=form.cleaned_data["text"], by=request.user)
        if not request.htmx:
            return redirect(found)
        form = NoteForm()
    status = 422 if form.errors else 200
    context = {"series": series, "lock": found, "form": form, "notes": found.notes.with_writers()}
    if request.htmx:
        return render(request, "bible/_lock_notes.html", context, status=status)
    context |= {"title": f"Note on {found.part.full_name}, {found.written}", "back": found.get_absolute_url()}
    return render(request, "bible/form.html", context | {"save": "Keep it"}, status=status)
