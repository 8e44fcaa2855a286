"""Looking codes up, and notes beside locks."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render

from bible.exports.tables import answer, wanted
from bible.locks.exports import lock_changes_table, lookup_table
from bible.locks.forms import LockChangesForm, NoteForm
from bible.locks.looks import look_of
from bible.locks.notes import note_on_lock
from bible.locks.queries import LOOKUP_LIMIT, answer_to, look_up
from bible.models import Lock, Part, Series
from bible.models.permissions import Permission
from bible.models.roles import BASE_ROLE
from bible.series.forms import AsOfForm
from bible.series.presses import condition
from bible.series.running_order import AsOf, RunningOrder
from bible.web.access import MemberRequest, member
from bible.web.methods import FORM, SAFE
from bible.web.whole_numbers import whole_number


@member(Permission.DISCUSS, FORM)
def note_lock(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Write a note beside a decision. With htmx the answer is the notes of that decision, else its line in the
    history."""
    lock = get_object_or_404(
        Lock.every_printing.filter(series=series).select_related("part__costume__subject__series", "decided_by"),
        pk=pk,
    )
    form = NoteForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        note_on_lock(lock=lock, text=form.cleaned_data["text"], by=request.user)
        if not request.htmx:
            return redirect(lock)
        form = NoteForm()
    status = 422 if form.errors else 200
    context = {"series": series, "lock": lock, "form": form, "notes": lock.notes.with_writers()}
    if request.htmx:
        return render(request, "bible/locks/_lock_notes.html", context, status=status)
    context |= {"title": f"Note on {lock.part.full_name}, {lock.written}", "back": lock.get_absolute_url()}
    return render(request, "bible/series/form.html", context | {"save": "Keep it"}, status=status)


SUGGESTED_PARTS = 12


def _answered(series: Series, words: str, as_of: AsOf) -> dict[str, Any]:
    """What a question found, for the page; the running order where issues have to be named."""
    answered = answer_to(series, words, as_of.position, edition=as_of.edition)
    order = RunningOrder.of(series) if any(match.wore for match in answered.found) else None
    context = {"found": answered.found, "read_as": answered.read_as}
    return context | {"running_order": order, "limit": LOOKUP_LIMIT}


@member(Permission.READ, SAFE)
def lookup(request: MemberRequest, series: Series) -> HttpResponseBase:
    form = AsOfForm(request.GET)
    form.is_valid()
    words = form.cleaned_data.get("q", "")
    as_of = AsOf.of(series, form.cleaned_data.get("issue", ""), request.edition)
    if wanted(request) and not form.errors:
        matches = look_up(series, words, as_of.position, limit=None, edition=as_of.edition)
        return answer(request, series, lookup_table(series, matches, as_of, words))
    context = {"series": series, "form": form, "as_of": as_of, "words": words} | _answered(series, words, as_of)
    template = "bible/locks/_found.html" if request.htmx.target == "found" else "bible/locks/lookup.html"
    return render(request, template, context, status=422 if form.errors else 200)


@member(Permission.READ, SAFE)
def part_options(request: MemberRequest, series: Series) -> HttpResponse:
    """Type-ahead for a part: options whose names hold each of the words typed so far."""
    words = request.GET.get("part", "").replace("\0", "")
    parts = Part.objects.matching(series, words).with_names()[:SUGGESTED_PARTS]
    return render(request, "bible/locks/_part_options.html", {"parts": parts if words.strip() else []})


@member(Permission.READ, SAFE)
def code_look(request: MemberRequest, series: Series) -> HttpResponse:
    """A code that is being typed, beside what is locked there now, and what on the chart prints like it.

    Asked ``lock`` it is held against that lock, else against what holds for ``part`` and ``role`` at ``from_issue``.
    """
    asked = {
        name: request.GET.get(name, "").replace("\0", "") for name in ("code", "lock", "part", "role", "from_issue")
    }
    as_of = AsOf.of(series, asked["from_issue"].strip(), request.edition)
    locks = Lock.every_printing.filter(series=series)
    if asked["lock"]:
        now: Lock | None = get_object_or_404(locks, pk=whole_number(asked["lock"]) or 0)
    else:
        standing = locks.needed_in(as_of.edition, as_of.position)
        now = standing.of(whole_number(asked["part"]) or 0, asked["role"] or BASE_ROLE).first()
    look = look_of(series, condition(series, as_of.press_name), asked["code"], now)
    return render(request, "bible/locks/_code_look.html", {"series": series, "as_of": as_of, "look": look})


@member(Permission.READ, SAFE)
def changes(request: MemberRequest, series: Series) -> HttpResponseBase:
    """Which codes changed between two issues, or between what was known on two days."""
    form = LockChangesForm(series, request.GET)
    rows = form.changes(series) if form.is_valid() else []
    if wanted(request) and form.is_valid():
        return answer(request, series, lock_changes_table(series, rows))
    context = {
        "series": series,
        "form": form,
        "rows": rows,
        "running_order": RunningOrder.of(series),
        "issues": series.issues.suggested(),
    }
    return render(request, "bible/locks/lock_changes.html", context, status=422 if form.errors else 200)
