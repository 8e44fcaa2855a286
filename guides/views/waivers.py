"""Allowing flags to stand, one or a run of them, and writing notes beside marks."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from bible.access import LEADS, MemberRequest, member
from bible.models import Series
from bible.names import counted
from bible.presses import condition
from bible.services import Refused
from guides.exceptions import flags_token, take_waiver_back, waive
from guides.flag_choice import choose
from guides.flags import flags_of
from guides.forms import FlagFilterForm
from guides.models import Mark, Waiver

RUN_LIMIT = 500
"""A run of more flags than this is no exception but a lock that is wrong."""


class ReasonForm(forms.Form):
    reason = forms.CharField(max_length=300, help_text="A disguise, a flashback: it is read years later.")


def _mark(series: Series, pk: int) -> Mark:
    return get_object_or_404(Mark.objects.filter(series=series).with_names().select_related("series"), pk=pk)


@member(*LEADS)
def waive_mark(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    mark = _mark(series, pk)
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            waive(marks=[mark], by=request.user, **_asked(request, form))
            messages.success(request, f"The flag of mark {mark.number} is waived.")
            return redirect(mark)
        except Refused as refusal:
            form.add_error(None, str(refusal))
            mark = _mark(series, pk)
    return _page(request, series, form, [mark], back=mark.get_absolute_url())


def _asked(request: MemberRequest, form: ReasonForm) -> dict[str, str]:
    """The reason, and what the form said was shown: a form that says nothing showed nothing."""
    return {"reason": form.cleaned_data["reason"], "seen": request.POST.get("shown", "")}


@member(*LEADS)
def waive_run(request: MemberRequest, series: Series) -> HttpResponse:
    """Waive all open flags that a filter leaves, exactly those that were shown."""
    marks, trouble = _open_flags(series, request.GET)
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid() and not trouble:
        try:
            waived = waive(marks=marks, by=request.user, **_asked(request, form))
            messages.success(request, f"{counted(len(waived), 'flag')} waived.")
            return redirect("flags", series.slug)
        except Refused as refusal:
            marks, gone = _open_flags(series, request.GET)
            trouble = gone or str(refusal)
    back = f"{reverse('flags', args=[series.slug])}?{request.GET.urlencode()}"
    return _page(request, series, form, marks, back=back, trouble=trouble)


def _open_flags(series: Series, asked: QueryDict) -> tuple[list[Mark], str]:
    """The marks of the open flags that a filter leaves, in order, or none and why there are none to be waived."""
    chosen = choose(series, FlagFilterForm(series, asked), condition(series)).filter(waived=False)
    marks = list(chosen.in_order().with_names()[: RUN_LIMIT + 1])
    if len(marks) > RUN_LIMIT:
        return [], f"More than {RUN_LIMIT} flags at once are no exception: narrow them down first."
    return marks, "" if marks else "No open flag is left here."


def _page(
    request: MemberRequest, series: Series, form: ReasonForm, marks: list[Mark], back: str, trouble: str = ""
) -> HttpResponse:
    context = {
        "series": series,
        "form": form,
        "flags": flags_of(marks, condition(series)),
        "token": flags_token(marks),
        "back": back,
        "trouble": trouble,
        "signed": list(dict.fromkeys(mark.guide.issue for mark in marks if mark.guide.issue.signed_off_at)),
    }
    refused = request.method == "POST" or trouble
    return render(request, "guides/waive.html", context, status=422 if refused else 200)


@require_POST
@member(*LEADS)
def take_back(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    waiver = get_object_or_404(Waiver.objects.filter(series=series).select_related("mark__series"), pk=pk)
    try:
        take_waiver_back(waiver=waiver, by=request.user)
        messages.success(request, "The flag is open again.")
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect(waiver.mark)
