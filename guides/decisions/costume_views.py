"""A costume's name and time: what the time does to marks is shown before it is saved."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from bible.models import Costume, Series
from bible.models.permissions import Permission
from bible.series.edits import StaleEdit
from bible.series.holding import hold_series
from bible.series.refusals import Refused
from bible.series.running_order import RunningOrder
from bible.subjects.forms import EditCostumeForm
from bible.subjects.wearing import edit_costume, worn_before
from bible.web.access import MemberRequest, member
from bible.web.methods import FORM
from guides.core.confirm import Shown, carry_out
from guides.core.impact import rehearse
from guides.timeline.strips import strip_of


@member(Permission.EDIT_BIBLE, FORM)
def edit(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Its name and from which issue to which it is worn."""
    costume = get_object_or_404(Costume.objects.select_related("subject__series"), subject__series=series, pk=pk)
    title = f"{costume.subject}: {costume}"
    before = worn_before(costume)
    again = before if "before" in request.GET else None
    form = EditCostumeForm(costume.subject, request.POST or None, instance=costume, worn=again)
    shown: Shown | None = None
    if form.is_valid():
        try:
            shown = _save(request, series, form)
            if shown is None:
                messages.success(request, "Saved.")
                return redirect(costume.subject)
        except StaleEdit as stale:
            form.show(stale)
        except Refused as refusal:
            form.add_error(None, str(refusal))
    return _page(request, series, form, {"title": title, "shown": shown, "before": before, "again": again})


def _page(request: MemberRequest, series: Series, form: EditCostumeForm, context: dict[str, Any]) -> HttpResponse:
    costume, order = form.instance, RunningOrder.of(series)
    worn = form.cleaned_data.get("worn") if form.is_bound else context["again"]
    context |= {"series": series, "form": form, "costume": costume, "back": costume.subject.get_absolute_url()}
    context |= {"issues": series.issues.suggested(), "strip": strip_of(costume, order, worn)}
    context |= {"words_before": order.spans(context["before"] or ()) or "always"}
    wrong = form.errors or context["shown"]
    return render(request, "guides/decisions/costume.html", context, status=422 if wrong else 200)


def _save(request: MemberRequest, series: Series, form: EditCostumeForm) -> Shown | None:
    arguments = form.edit

    def saving() -> None:
        edit_costume(by=request.user, **arguments)

    return carry_out(request, lambda: rehearse(series, saving), saving, hold=lambda: hold_series(series.pk))
