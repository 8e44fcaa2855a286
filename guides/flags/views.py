"""Flags, fades that turn their hue, and allowing flags to stand."""

from __future__ import annotations

from functools import partial
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from bible.colour.press import PressCondition
from bible.exports.tables import answer, wanted
from bible.models import Series
from bible.models.permissions import Permission
from bible.series.presses import condition
from bible.series.refusals import Refused
from bible.web.access import MemberRequest, member
from bible.web.methods import FORM, POST, SAFE
from bible.web.names import counted
from guides.core.confirm import carry_out
from guides.core.flags import flags_of, gathered
from guides.core.forms import ReasonForm
from guides.core.gradients import fades_of, turning
from guides.core.impact import rehearse
from guides.core.in_editions import held_against
from guides.core.keysets import page_of_marks, read_keyset
from guides.core.scene_areas import flags_token
from guides.core.waivers import hold_waived, remove_waiver, waive
from guides.flags.exports import fades_table, flags_table, waivers_table
from guides.flags.forms import FlagFilterForm
from guides.flags.queries import choose
from guides.models import Mark, MarkQuerySet, Waiver

FLAGS_A_PAGE = 50


@member(Permission.READ, SAFE)
def flags(request: MemberRequest, series: Series) -> HttpResponseBase:
    """Open flags in running order, filtered; each leads straight to its mark."""
    form = FlagFilterForm(series, request.GET)
    press = condition(series, request.edition.press if request.edition else "")
    chosen = choose(series, form, press, request.edition)
    if wanted(request) and form.is_valid():
        with_reasons = request.GET.get("list") == "waivers"
        table = waivers_table(series, chosen) if with_reasons else flags_table(series, chosen, press)
        return answer(request, series, table)
    context = {"series": series, "form": form} | _page_of_flags(request, series, form, chosen, press)
    template = "guides/flags/_flags.html" if request.htmx.target == "flags" else "guides/flags/flags.html"
    return render(request, template, context, status=422 if form.errors else 200)


def _page_of_flags(
    request: MemberRequest, series: Series, form: FlagFilterForm, chosen: MarkQuerySet, press: PressCondition
) -> dict[str, object]:
    """The flags of one page of the list, how many there are, and what leads to the next page."""
    begins = read_keyset(request.GET.get("after", ""), 3) or (0, 0, 0)
    shown, more = page_of_marks(chosen.with_notes(request.membership), begins, FLAGS_A_PAGE)
    kept = {"edition": request.edition.name} if request.edition else {}
    asked = {name: value for name in form.fields if (value := request.GET.get(name))}
    if request.edition and request.GET.get("standing") != "waived":
        held_against(shown)
    return {
        "flags": gathered(flags_of(shown, press)),
        "total": chosen.count_to_most(),
        "waived_total": Mark.objects.filter(series=series).waived().count_to_most(),
        "run": urlencode(asked) if asked and "standing" not in asked and not request.edition else "",
        "more": urlencode(asked | kept | {"after": more}) if more else "",
        "filtered": bool(asked),
        "marked": Mark.objects.filter(series=series).live().exists(),
    }


RUN_LIMIT = 500
"""A run of more flags than this is no exception but a lock that is wrong."""


def _mark(series: Series, pk: int) -> Mark:
    return get_object_or_404(Mark.objects.filter(series=series).with_names().select_related("series"), pk=pk)


@member(Permission.WAIVE, FORM)
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


@member(Permission.WAIVE, FORM)
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
        "flags": gathered(flags_of(marks, condition(series))),
        "count": len(marks),
        "token": flags_token(marks),
        "back": back,
        "trouble": trouble,
        "signed": list(dict.fromkeys(mark.guide.issue for mark in marks if mark.guide.issue.signed_off_at)),
    }
    refused = request.method == "POST" or trouble
    return render(request, "guides/flags/waive.html", context, status=422 if refused else 200)


@member(Permission.WAIVE, POST)
def remove(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Let a waived flag be open again, once it has been seen what that does."""
    waivers = Waiver.objects.filter(series=series).select_related("mark__series", "mark__guide__issue", "waived_by")
    waiver = get_object_or_404(waivers, pk=pk)
    deed = partial(remove_waiver, waiver=waiver, by=request.user)
    try:
        shown = carry_out(request, lambda: rehearse(series, deed), deed, hold=lambda: hold_waived([waiver.mark_id]))
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect(waiver.mark)
    if shown:
        context = {"series": series, "waiver": waiver, "shown": shown}
        return render(request, "guides/flags/remove_waiver.html", context, status=422)
    messages.success(request, "The flag is open again.")
    return redirect(waiver.mark)


FADES_A_PAGE = 50


@member(Permission.READ, SAFE)
def fades(request: MemberRequest, series: Series) -> HttpResponseBase:
    """In running order, each with ends that would hold the hue."""
    press = condition(series)
    turning_fades = turning(series.marks.fades(), press)
    if wanted(request):
        return answer(request, series, fades_table(series, turning_fades, press))
    begins = read_keyset(request.GET.get("after", ""), 3) or (0, 0, 0)
    shown, more = page_of_marks(turning_fades, begins, FADES_A_PAGE)
    context = {"series": series, "fades": fades_of(shown, press), "total": turning_fades.count(), "more": more}
    return render(request, "guides/flags/fades.html", context)
