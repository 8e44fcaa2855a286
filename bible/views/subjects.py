"""The bible itself: subjects, their costumes and parts."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Prefetch
from django.forms import ModelForm
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from bible.access import EVERYBODY, LEADS, MemberRequest, member
from bible.forms import AsOfForm, CostumeForm, PartForm, SubjectForm
from bible.lists import bible_table, history_table
from bible.models import Costume, Issue, Lock, LockNote, Part, Series
from bible.running_order import AsOf, RunningOrder
from bible.services import Refused, add
from bible.tables_out import answer, wanted

SUBJECTS_A_PAGE = 40

forms_only = require_http_methods(["GET", "HEAD", "POST"])


@require_safe
@member(*EVERYBODY)
def subjects(request: MemberRequest, series: Series) -> HttpResponseBase:
    """Every subject with its codes as of an issue; search as you type."""
    form = AsOfForm(request.GET)
    form.is_valid()
    as_of = AsOf.of(series, form.cleaned_data.get("issue", ""))
    found = series.subjects.active().matching(form.cleaned_data.get("q", "")).with_locks(as_of.position)
    if wanted(request):
        return answer(request, series, bible_table(series, found, as_of))
    context = {
        "series": series,
        "form": form,
        "as_of": as_of,
        "subjects": found[:SUBJECTS_A_PAGE],
        "total": found.count(),
        "issues": series.issues.active().in_order(),
    }
    template = "bible/_subjects.html" if request.htmx.target == "subjects" else "bible/subjects.html"
    return render(request, template, context)


@require_safe
@member(*EVERYBODY)
def subject(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """One subject: costumes, parts, the locks in force and how they came about."""
    as_of = AsOf.of(series, request.GET.get("issue", ""))
    found = get_object_or_404(series.subjects.with_locks(as_of.position), pk=pk)
    history = Lock.objects.filter(part__costume__subject=found).with_people().select_related("part__costume")
    if request.membership.is_crew:
        history = history.prefetch_related(Prefetch("notes", LockNote.objects.with_writers()))
    history = history.order_by("part__costume__rank", "part__rank", "part_id", "from_position", "id")
    if wanted(request):
        order, with_notes = RunningOrder.of(series), request.membership.is_crew
        return answer(request, series, history_table(series, found, history, order, as_of, with_notes=with_notes))
    parts = Part.objects.filter(costume__subject=found).select_related("costume__subject")
    context = {
        "series": series,
        "subject": found,
        "as_of": as_of,
        "running_order": RunningOrder.of(series),
        "history": history,
        "archived_costumes": found.costumes.exclude(archived_at=None),
        "archived_parts": parts.exclude(archived_at=None).filter(costume__archived_at=None),
        "issues": series.issues.active().in_order(),
    }
    return render(request, "bible/subject.html", context)


def _form_page(
    request: MemberRequest, series: Series, form: ModelForm, title: str, back: str, save: str = "Save"
) -> HttpResponse:
    """The form, for the first time or with what was typed and what is wrong with it."""
    context = {"series": series, "form": form, "title": title, "back": back, "save": save}
    context["issues"] = series.issues.active().in_order()
    return render(request, "bible/form.html", context, status=422 if form.errors else 200)


def _added(request: MemberRequest, form: ModelForm, places: Iterable[Issue | None] = ()) -> bool:
    """Save what a form has filled; a name that somebody took at the same moment is put on the form."""
    try:
        add(row=form.instance, by=request.user, places=places)
    except Refused as refusal:
        form.add_error(None, str(refusal))
        return False
    return True


@forms_only
@member(*LEADS)
def new_subject(request: MemberRequest, series: Series) -> HttpResponse:
    form = SubjectForm(series, request.POST or None)
    if request.method == "POST" and form.is_valid():
        form.instance.series = series
        if _added(request, form):
            return redirect(form.instance)
    return _form_page(request, series, form, "New subject", reverse("bible", args=[series.slug]))


@forms_only
@member(*LEADS)
def new_costume(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    found = get_object_or_404(series.subjects, pk=pk)
    form = CostumeForm(found, request.POST or None)
    if request.method == "POST" and form.is_valid():
        costume = form.instance
        costume.subject, costume.rank = found, found.costumes.count()
        costume.from_position = form.cleaned_data["from_position"]
        costume.to_position = form.cleaned_data["to_position"]
        if _added(request, form, form.places):
            return redirect(found)
    return _form_page(request, series, form, f"New costume of {found}", found.get_absolute_url())


@forms_only
@member(*LEADS)
def new_part(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    costume = get_object_or_404(Costume.objects.select_related("subject"), subject__series=series, pk=pk)
    form = PartForm(costume, request.POST or None)
    if request.method == "POST" and form.is_valid():
        form.instance.costume, form.instance.rank = costume, costume.parts.count()
        if _added(request, form):
            return redirect("lock", series.slug, form.instance.pk)
    title = f"New part of {costume.subject}, {costume}"
    return _form_page(request, series, form, title, costume.subject.get_absolute_url(), "Save and lock its code")
