"""Changing the name and the like of things that two people may have open at once."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from bible.access import ISSUE_KEEPERS, LEADS, MemberRequest, member
from bible.forms.edits import (
    EditIssueForm,
    EditPartForm,
    EditSeriesForm,
    EditSubjectForm,
    SeenMixin,
)
from bible.models import Part, Series
from bible.services import Refused, StaleEdit, save_edit

forms_only = require_http_methods(["GET", "HEAD", "POST"])


def _edit(request: MemberRequest, series: Series, form: SeenMixin, title: str, back: Any) -> HttpResponse:
    """Save, or show the form with what was typed and, where somebody was faster, with what they saved."""
    if form.is_valid():
        try:
            save_edit(by=request.user, **form.edit)
            messages.success(request, "Saved.")
            return redirect(back)
        except StaleEdit as stale:
            form.show(stale)
        except Refused as refusal:
            form.add_error(None, str(refusal))
    context = {"series": series, "form": form, "title": title, "back": back.get_absolute_url()}
    context["issues"] = series.issues.active().in_order()
    return render(request, "bible/form.html", context, status=422 if form.errors else 200)


def _data(request: MemberRequest) -> Any:
    return request.POST if request.method == "POST" else None


@forms_only
@member(*LEADS)
def subject(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    found = get_object_or_404(series.subjects, pk=pk)
    title = f"Edit {found}"
    return _edit(request, series, EditSubjectForm(series, _data(request), instance=found), title, found)


@forms_only
@member(*LEADS)
def part(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    parts = Part.objects.filter(costume__subject__series=series).select_related("costume__subject__series")
    found = get_object_or_404(parts, pk=pk)
    title = f"Rename {found.full_name}"
    return _edit(request, series, EditPartForm(found.costume, _data(request), instance=found), title, found)


@forms_only
@member(*ISSUE_KEEPERS)
def issue(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    found = get_object_or_404(series.issues.select_related("series"), pk=pk)
    title = f"Edit {found}"
    return _edit(request, series, EditIssueForm(_data(request), instance=found), title, found)


@forms_only
@member(*LEADS)
def series_settings(request: MemberRequest, series: Series) -> HttpResponse:
    stored = Series.objects.get(pk=series.pk)  # the form writes into its own copy: the page keeps the title there is
    return _edit(request, series, EditSeriesForm(_data(request), instance=stored), f"Rename {series}", series)
