"""Merging, moving and re-assigning from a subject's page: what it would do is always shown before it is done."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from typing import Any

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render

from bible.exports.tables import answer, wanted
from bible.models import Part, Series
from bible.models.permissions import Permission
from bible.series.holding import hold_series
from bible.series.refusals import Refused
from bible.web.access import MemberRequest, member
from bible.web.methods import FORM, SAFE
from guides.core.confirm import Shown, carry_out
from guides.core.impact import rehearse
from guides.models import Regrouping
from guides.regrouping.exports import regroupings_table
from guides.regrouping.forms import FORMS
from guides.regrouping.undoing import parts_in, undo_regrouping

NEWEST = 200
"""Deeds on the list; the file has them all."""


def _carry_out(
    request: MemberRequest, series: Series, deed: Callable[[], object], parts: Iterable[int]
) -> Shown | None:
    """``parts``: those whose marks it touches."""
    return carry_out(
        request, lambda: rehearse(series, deed, parts), deed, hold=lambda: hold_series(series.pk), always=True
    )


@member(Permission.EDIT_BIBLE, FORM)
def regroup(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """All that can be merged, moved and re-assigned about a subject; one of it at a time."""
    subject = get_object_or_404(series.subjects.select_related("series"), pk=pk)
    forms = [form(subject, request.POST or None) for form in FORMS]
    asked = next((form for form in forms if form.is_bound), None)
    shown = None
    if asked and asked.is_valid():
        try:
            shown = _carry_out(request, series, asked.deed(request.user), asked.parts())
            if shown is None:
                messages.success(request, "Done. It can be undone as one from the list of what was merged and moved.")
                return redirect("regroupings", series.slug)
        except Refused as refusal:
            asked.add_error(None, str(refusal))
    context = {"forms": [asked] if shown else forms, "collisions": asked.collisions() if asked and shown else []}
    unasked = request.method == "POST" and asked is None
    return _page(request, series, "regroup", context | {"subject": subject, "shown": shown, "unasked": unasked})


def _page(request: MemberRequest, series: Series, name: str, context: dict[str, Any]) -> HttpResponse:
    """One of the forms' pages, with what its fields offer."""
    context |= {"series": series, "issues": series.issues.suggested()}
    if name == "regroup":
        context["parts"] = Part.objects.of_series(series).with_names()
    wrong = request.method == "POST"
    return render(request, f"guides/regrouping/{name}.html", context, status=422 if wrong else 200)


@member(Permission.READ, SAFE)
def regroupings(request: MemberRequest, series: Series) -> HttpResponseBase:
    """What was merged, moved and re-assigned, newest first."""
    listed = Regrouping.objects.filter(series=series).with_people().newest_first()
    if wanted(request):
        return answer(request, series, regroupings_table(series, listed))
    return render(request, "guides/regrouping/regroupings.html", {"series": series, "regroupings": listed[:NEWEST]})


@member(Permission.EDIT_BIBLE, FORM)
def undo(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """What undoing would do, and doing exactly that."""
    regrouping = get_object_or_404(Regrouping.objects.filter(series=series).with_people(), pk=pk)
    undoing, parts = partial(undo_regrouping, regrouping=regrouping, by=request.user), parts_in(regrouping)
    shown, refusal = None, ""
    try:
        if request.method != "POST":
            shown = Shown(rehearse(series, undoing, parts), moved=False)
        else:
            shown = _carry_out(request, series, undoing, parts)
            if shown is None:
                messages.success(request, f"Undone: {regrouping.words}.")
                return redirect("regroupings", series.slug)
    except Refused as refused:
        refusal = str(refused)
    return _page(request, series, "undo", {"regrouping": regrouping, "shown": shown, "refusal": refusal})
