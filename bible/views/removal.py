"""Deleting what nothing stands on, archiving what is in use, and bringing it back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from bible.access import EVERYBODY, ISSUE_KEEPERS, LEADS, MemberRequest, member
from bible.lists import archived_table
from bible.models import Costume, Part, Series
from bible.services import InUse, Refused, Use, archive, delete_unused, title_of, uses_of
from bible.tables_out import answer, wanted

forms_only = require_http_methods(["GET", "HEAD", "POST"])


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


@require_safe
@member(*EVERYBODY)
def archived(request: MemberRequest, series: Series) -> HttpResponseBase:
    """Everything that is offered no more, by sort, with the way back."""
    groups = []
    for address, rows in _things(series).items():
        found = [(title_of(row), row) for row in rows.exclude(archived_at=None)]
        if found:
            groups.append(Archived(str(rows.model._meta.verbose_name_plural), address, found))
    if wanted(request):
        things = ((str(row._meta.verbose_name), title, row) for group in groups for title, row in group.rows)
        return answer(request, series, archived_table(series, things))
    return render(request, "bible/archived.html", {"series": series, "groups": groups})


def _remove(request: MemberRequest, series: Series, address: str, pk: int) -> HttpResponse:
    """What uses a thing and what can be done; and doing it."""
    thing = get_object_or_404(_things(series)[address], pk=pk)
    uses, refusal = None, ""
    if request.method == "POST":
        try:
            return _done(request, series, thing, request.POST.get("deed", ""))
        except InUse as error:
            uses, refusal = error.uses, "Nothing is deleted: it is in use. It can be archived instead."
        except Refused as error:
            refusal = str(error)
    return _page(request, series, thing, uses if uses is not None else uses_of(thing), refusal)


def _page(request: MemberRequest, series: Series, thing: Any, uses: tuple[Use, ...], refusal: str) -> HttpResponse:
    context = {
        "series": series,
        "thing": thing,
        "title": title_of(thing),
        "what": thing._meta.verbose_name,
        "uses": uses,
        "refusal": refusal,
    }
    return render(request, "bible/remove.html", context, status=422 if refusal else 200)


def _done(request: MemberRequest, series: Series, thing: Any, deed: str) -> HttpResponse:
    if deed == "delete":
        title, back = title_of(thing), _above(series, thing)
        delete_unused(thing=thing, by=request.user)
        messages.success(request, f"{title[:1].upper()}{title[1:]} is deleted.")
        return redirect(back)
    if deed not in ("archive", "bring-back"):
        raise Refused("Say what to do: delete it, archive it or bring it back.")
    archive(thing=thing, archived=deed == "archive", by=request.user)
    word = "archived: it is offered no more" if deed == "archive" else "back"
    title = title_of(thing)
    messages.success(request, f"{title[:1].upper()}{title[1:]} is {word}.")
    return redirect(thing)


def _above(series: Series, thing: Any) -> Any:
    """Where to go when a thing is gone."""
    if isinstance(thing, Costume):
        return thing.subject
    if isinstance(thing, Part):
        return thing.costume.subject
    rooms = {"subject": "bible", "issue": "issues", "scene": "scenes"}
    return reverse(rooms[str(thing._meta.verbose_name)], args=[series.slug])


@forms_only
@member(*LEADS)
def subject(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    return _remove(request, series, "remove-subject", pk)


@forms_only
@member(*LEADS)
def costume(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    return _remove(request, series, "remove-costume", pk)


@forms_only
@member(*LEADS)
def part(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    return _remove(request, series, "remove-part", pk)


@forms_only
@member(*ISSUE_KEEPERS)
def issue(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Whoever may add an issue may take it out again."""
    return _remove(request, series, "remove-issue", pk)


@forms_only
@member(*LEADS)
def scene(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    return _remove(request, series, "remove-scene", pk)
