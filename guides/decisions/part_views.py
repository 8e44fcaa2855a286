"""Within what a part is the same: what that does to marks is shown before it is saved."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from bible.models import Part, Series, Within
from bible.models.permissions import Permission
from bible.series.holding import hold_series
from bible.series.refusals import Refused
from bible.subjects.backgrounds import hold_within
from bible.web.access import MemberRequest, member
from bible.web.methods import FORM
from guides.core.confirm import Shown, carry_out
from guides.core.impact import rehearse


class HeldWithinForm(forms.Form):
    """Where a part has one colour."""

    within = forms.ChoiceField(label="Is the same within", choices=Within)


def _said(request: MemberRequest, part: Part, within: str) -> Shown | None:
    """The consequences, or None once it is saved with a yes to exactly those."""
    series, parts = part.costume.subject.series, Part.objects.select_related("costume__subject__series")
    return carry_out(
        request,
        lambda: rehearse(series, lambda: hold_within(part=parts.get(pk=part.pk), within=within, by=request.user)),
        lambda: hold_within(part=part, within=within, by=request.user),
        hold=lambda: hold_series(series.pk),
    )


@member(Permission.EDIT_BIBLE, FORM)
def held_within(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    parts = Part.objects.filter(costume__subject__series=series).select_related("costume__subject__series")
    part = get_object_or_404(parts, pk=pk)
    form = HeldWithinForm(request.POST or None, initial={"within": part.held_within})
    shown: Shown | None = None
    if form.is_valid():
        try:
            shown = _said(request, part, form.cleaned_data["within"])
            if shown is None:
                messages.success(request, "Saved.")
                return redirect(part.costume.subject)
        except Refused as refusal:
            form.add_error(None, str(refusal))
    context = {"series": series, "part": part, "form": form, "shown": shown}
    status = 422 if form.errors or shown else 200
    return render(request, "guides/decisions/held_within.html", context, status=status)
