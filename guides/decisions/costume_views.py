"""A costume's name and time: what the time does to marks is shown before it is saved."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from bible.models import Costume, Series
from bible.models.permissions import Permission
from bible.series.edits import StaleEdit, save_edit
from bible.series.holding import hold_series
from bible.series.refusals import Refused
from bible.subjects.forms import EditCostumeForm
from bible.web.access import MemberRequest, member
from bible.web.methods import FORM
from guides.core.confirm import Shown, carry_out
from guides.core.impact import rehearse


@member(Permission.EDIT_BIBLE, FORM)
def edit(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Its name and from which issue to which it is worn."""
    costume = get_object_or_404(Costume.objects.select_related("subject__series"), subject__series=series, pk=pk)
    title = f"{costume.subject}: {costume}"
    form = EditCostumeForm(costume.subject, request.POST if request.method == "POST" else None, instance=costume)
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
    context = {"series": series, "form": form, "title": title, "back": costume.subject.get_absolute_url()}
    context |= {"issues": series.issues.active().in_order(), "shown": shown}
    return render(request, "guides/decisions/costume.html", context, status=422 if form.errors or shown else 200)


def _save(request: MemberRequest, series: Series, form: EditCostumeForm) -> Shown | None:
    edit = form.edit

    def saving() -> None:
        save_edit(by=request.user, **edit)

    return carry_out(request, lambda: rehearse(series, saving), saving, hold=lambda: hold_series(series.pk))
