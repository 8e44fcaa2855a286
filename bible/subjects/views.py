"""Subjects with their costumes and parts: shown, added, changed, archived, deleted."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.db.models import Prefetch, QuerySet
from django.forms import BaseForm, ModelForm
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from bible.exports.tables import answer, wanted
from bible.models import Costume, Issue, Lock, LockNote, LockQuerySet, Part, Series, Subject, SubjectQuerySet
from bible.models.permissions import Permission
from bible.series.edits import add
from bible.series.forms import AsOfForm
from bible.series.refusals import Refused
from bible.series.running_order import AsOf, RunningOrder
from bible.series.things import title_of
from bible.series.views import edit_page, posted
from bible.subjects.exports import archived_table, bible_table, history_table
from bible.subjects.forms import CostumeForm, EditPartForm, EditSubjectForm, OwnersForm, PartForm, SubjectForm
from bible.subjects.owning import set_owners
from bible.subjects.services import InUse, Use, archive, delete_unused, uses_of
from bible.subjects.wearing import add_costume
from bible.web.access import MemberRequest, member
from bible.web.methods import FORM, SAFE

SUBJECTS_A_PAGE = 40

OPEN_AT_MOST = 4
"""Subjects on a page up to which all their costumes lie open; of more, each one's first, the others behind their
names and colours."""


@member(Permission.READ, SAFE)
def subjects(request: MemberRequest, series: Series) -> HttpResponseBase:
    """Every subject with its codes as of an issue; search as you type."""
    form = AsOfForm(request.GET)
    form.is_valid()
    as_of = AsOf.of(series, form.cleaned_data.get("issue", ""), request.edition)
    asked = series.subjects.active().matching(form.cleaned_data.get("q", ""))
    matching = asked.with_locks(as_of.position, series.roles, as_of.edition)
    if wanted(request):
        whole = matching if as_of.edition else asked.with_standing_locks(series.roles)
        return answer(request, series, bible_table(series, whole, as_of))
    context = {
        "series": series,
        "form": form,
        "as_of": as_of,
        **_first_of(matching, opened="open" in request.GET),
        "issues": series.issues.suggested(),
    }
    piece = "_subjects" if request.htmx.target == "subjects" else "subjects"
    return render(request, f"bible/subjects/{piece}.html", context)


def _first_of(matching: SubjectQuerySet, *, opened: bool) -> dict[str, Any]:
    """The subjects of the bible's page; ``folded`` says whether costumes lie behind their names."""
    total = matching.count()
    folded = total > OPEN_AT_MOST and not opened
    return {"subjects": matching[:SUBJECTS_A_PAGE], "total": total, "folded": folded}


def _history(request: MemberRequest, subject: Subject) -> LockQuerySet:
    """Every decision about the subject; notes beside them for whoever takes part in the talk."""
    history = Lock.every_printing.filter(part__costume__subject=subject).with_people()
    history = history.select_related("part__costume", "edition")
    if request.membership.may(Permission.DISCUSS):
        history = history.prefetch_related(Prefetch("notes", LockNote.objects.with_writers()))
    return history.order_by("part__costume__rank", "part__rank", "part_id", "from_position", "id")


@member(Permission.READ, SAFE)
def subject(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """One subject: costumes, parts, the locks in force and how they came about."""
    as_of = AsOf.of(series, request.GET.get("issue", ""), request.edition)
    subject = get_object_or_404(series.subjects.with_locks(as_of.position, series.roles, as_of.edition), pk=pk)
    history = _history(request, subject)
    if wanted(request):
        order, with_notes = RunningOrder.of(series), request.membership.may(Permission.DISCUSS)
        return answer(request, series, history_table(series, subject, history, order, as_of, with_notes=with_notes))
    context = {"series": series, "subject": subject, "as_of": as_of, "history": history}
    context |= {"running_order": RunningOrder.of(series), "issues": series.issues.suggested()}
    return render(request, "bible/subjects/subject.html", context | _archived(subject) | _owners(subject))


def _archived(subject: Subject) -> dict[str, object]:
    parts = Part.objects.filter(costume__subject=subject, costume__archived_at=None)
    return {
        "archived_costumes": subject.costumes.exclude(archived_at=None),
        "archived_parts": parts.exclude(archived_at=None).select_related("costume__subject"),
    }


def _owners(subject: Subject) -> dict[str, object]:
    """Whose it is, and what is its own."""
    owned = subject.owned.standing().select_related("subject__series")
    return {
        "ownerships": subject.ownerships.standing().select_related("owner__series"),
        "owned": owned.order_by("subject__name", "from_position"),
    }


def _form_page(
    request: MemberRequest, series: Series, form: BaseForm, title: str, back: str, save: str = "Save"
) -> HttpResponse:
    """The form, for the first time or with what was typed and what is wrong with it."""
    context = {"series": series, "form": form, "title": title, "back": back, "save": save}
    context["issues"] = series.issues.active().in_order()
    return render(request, "bible/series/form.html", context, status=422 if form.errors else 200)


def _added(request: MemberRequest, form: ModelForm, places: Iterable[Issue | None] = (), **more: Any) -> bool:
    """Save what a form has filled; a name that somebody took at the same moment is put on the form. ``more``: of a
    costume, when it is worn."""
    adding = add_costume if isinstance(form.instance, Costume) else add
    try:
        adding(row=form.instance, by=request.user, places=places, **more)
    except Refused as refusal:
        form.add_error(None, str(refusal))
        return False
    return True


@member(Permission.EDIT_BIBLE, FORM)
def new_subject(request: MemberRequest, series: Series) -> HttpResponse:
    form = SubjectForm(series, request.POST or None)
    if request.method == "POST" and form.is_valid():
        form.instance.series = series
        if _added(request, form):
            return redirect(form.instance)
    return _form_page(request, series, form, "New subject", reverse("bible", args=[series.slug]))


@member(Permission.EDIT_BIBLE, FORM)
def new_costume(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    subject = get_object_or_404(series.subjects, pk=pk)
    form = CostumeForm(subject, request.POST or None)
    if request.method == "POST" and form.is_valid():
        costume = form.instance
        costume.subject, costume.rank = subject, subject.costumes.count()
        if _added(request, form, form.places, worn=form.cleaned_data["worn"]):
            return redirect(subject)
    return _form_page(request, series, form, f"New costume of {subject}", subject.get_absolute_url())


@member(Permission.EDIT_BIBLE, FORM)
def new_part(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    costume = get_object_or_404(Costume.objects.select_related("subject"), subject__series=series, pk=pk)
    form = PartForm(costume, request.POST or None)
    if request.method == "POST" and form.is_valid():
        form.instance.costume, form.instance.rank = costume, costume.parts.count()
        if _added(request, form):
            return redirect("lock", series.slug, form.instance.pk)
    title = f"New part of {costume.subject}, {costume}"
    return _form_page(request, series, form, title, costume.subject.get_absolute_url(), "Save and lock its code")


@member(Permission.EDIT_BIBLE, FORM)
def owners(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Whose something is, stretch by stretch: no flag hangs on it."""
    subject = get_object_or_404(series.subjects.select_related("series"), pk=pk)
    form = OwnersForm(subject, request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            arguments = {"owners": form.cleaned_data["owners"], "places": form.places}
            changed = set_owners(subject=subject, by=request.user, **arguments)
            done = "Saved" if changed else "Nothing is another than before"
            messages.success(request, f"{done}: whose {subject} is.")
            return redirect(subject)
        except Refused as refusal:
            form.add_error(None, str(refusal))
    return _form_page(request, series, form, f"Whose is {subject}?", subject.get_absolute_url())


@dataclass(frozen=True, slots=True)
class Archived:
    """One sort of archived things; ``name`` is its plural and ``remove`` the address that brings one back."""

    name: str
    remove: str
    rows: list[tuple[str, Any]]


def _things(series: Series) -> dict[str, QuerySet[Any]]:
    return {
        "remove-subject": series.subjects.select_related("series"),
        "remove-costume": Costume.objects.filter(subject__series=series).select_related("subject__series"),
        "remove-part": Part.objects.filter(costume__subject__series=series).select_related(
            "costume__subject__series"
        ),
        "remove-issue": series.issues.select_related("series"),
        "remove-scene": series.scenes.select_related("series"),
    }


@member(Permission.READ, SAFE)
def archived(request: MemberRequest, series: Series) -> HttpResponseBase:
    """Everything that is offered no more, by sort, with the way back."""
    groups = []
    for address, rows in _things(series).items():
        archived_rows = [(title_of(row), row) for row in rows.exclude(archived_at=None)]
        if archived_rows:
            groups.append(Archived(str(rows.model._meta.verbose_name_plural), address, archived_rows))
    if wanted(request):
        listed = ((str(row._meta.verbose_name), title, row) for group in groups for title, row in group.rows)
        return answer(request, series, archived_table(series, listed))
    return render(request, "bible/subjects/archived.html", {"series": series, "groups": groups})


def _remove(request: MemberRequest, series: Series, address: str, pk: int) -> HttpResponse:
    """What uses a thing and what can be done; and doing it."""
    row = get_object_or_404(_things(series)[address], pk=pk)
    uses, refusal = None, ""
    if request.method == "POST":
        try:
            return _done(request, series, row, request.POST.get("deed", ""))
        except InUse as error:
            uses, refusal = error.uses, "Nothing is deleted: it is in use. It can be archived instead."
        except Refused as error:
            refusal = str(error)
    return _page(request, series, row, uses if uses is not None else uses_of(row), refusal)


def _page(request: MemberRequest, series: Series, row: Any, uses: tuple[Use, ...], refusal: str) -> HttpResponse:
    context = {
        "series": series,
        "thing": row,
        "title": title_of(row),
        "what": row._meta.verbose_name,
        "uses": uses,
        "refusal": refusal,
    }
    return render(request, "bible/subjects/remove.html", context, status=422 if refusal else 200)


def _done(request: MemberRequest, series: Series, row: Any, deed: str) -> HttpResponse:
    if deed == "delete":
        title, back = title_of(row), _above(series, row)
        delete_unused(row=row, by=request.user)
        messages.success(request, f"{title[:1].upper()}{title[1:]} is deleted.")
        return redirect(back)
    if deed not in ("archive", "bring-back"):
        raise Refused("Say what to do: delete it, archive it or bring it back.")
    archive(row=row, archived=deed == "archive", by=request.user)
    word = "archived: it is offered no more" if deed == "archive" else "back"
    title = title_of(row)
    messages.success(request, f"{title[:1].upper()}{title[1:]} is {word}.")
    return redirect(row)


def _above(series: Series, row: Any) -> Any:
    """Where to go when a thing is gone."""
    if isinstance(row, Costume):
        return row.subject
    if isinstance(row, Part):
        return row.costume.subject
    rooms = {"subject": "bible", "issue": "issues", "scene": "scenes"}
    return reverse(rooms[str(row._meta.verbose_name)], args=[series.slug])


def _removal(address: str, permission: Permission) -> Callable[..., HttpResponseBase]:
    @member(permission, FORM)
    def remove(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
        return _remove(request, series, address, pk)

    return remove


remove_subject = _removal("remove-subject", Permission.EDIT_BIBLE)
remove_costume = _removal("remove-costume", Permission.EDIT_BIBLE)
remove_part = _removal("remove-part", Permission.EDIT_BIBLE)
remove_issue = _removal("remove-issue", Permission.KEEP_ISSUES)  # whoever may add one may take it out again
remove_scene = _removal("remove-scene", Permission.SET_SCENES)


@member(Permission.EDIT_BIBLE, FORM)
def edit_subject(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    subject = get_object_or_404(series.subjects, pk=pk)
    title = f"Edit {subject}"
    return edit_page(request, series, EditSubjectForm(series, posted(request), instance=subject), title, subject)


@member(Permission.EDIT_BIBLE, FORM)
def edit_part(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    parts = Part.objects.filter(costume__subject__series=series).select_related("costume__subject__series")
    part = get_object_or_404(parts, pk=pk)
    title = f"Rename {part.full_name}"
    return edit_page(request, series, EditPartForm(part.costume, posted(request), instance=part), title, part)
