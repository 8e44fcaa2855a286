"""The codes of a whole costume typed as a table: one page, one rehearsal, one decision."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from bible.locks.costume_codes import lock_costume
from bible.locks.costume_forms import CostumeTableForm
from bible.locks.services import StaleDecision
from bible.models import Costume, Series
from bible.models.permissions import Permission
from bible.models.stretches import Stretch
from bible.series.forms import mark_as_seen
from bible.series.holding import hold_places, hold_to_decide
from bible.series.presses import condition
from bible.series.refusals import Refused
from bible.subjects.wearing import add_costume
from bible.web.access import MemberRequest, member
from bible.web.methods import FORM
from bible.web.names import counted
from guides.core.confirm import Shown, carry_out
from guides.core.impact import rehearse


@member(Permission.LOCK, FORM)
def table(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The codes of a costume, all of them to be changed at once."""
    return _answer(request, series, pk, is_copy=False)


@member(Permission.LOCK, FORM)
def copy(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """A new costume that begins with another one's parts and codes."""
    return _answer(request, series, pk, is_copy=True)


def _answer(request: MemberRequest, series: Series, pk: int, *, is_copy: bool) -> HttpResponse:
    costumes = Costume.objects.filter(subject__series=series).select_related("subject__series")
    form = CostumeTableForm(get_object_or_404(costumes, pk=pk), request.POST or None, is_copy=is_copy)
    shown: Shown | None = None
    if request.method == "POST" and form.is_valid():
        try:
            shown = _save(request, series, form)
            if shown is None:
                return redirect(form.costume.subject)
        except Refused as refusal:
            form.add_error(None, str(refusal))
            if isinstance(refusal, StaleDecision):
                mark_as_seen(form, refusal.newest.pk)
    press = condition(series)
    context = {"series": series, "form": form, "shown": shown, "press": press}
    context["fills"] = {series.write(tint): press.hex(tint) for tint in series.chart.tints}
    context["issues"] = series.issues.active().in_order()
    return render(request, "guides/decisions/costume_table.html", context, status=422 if form.wrong or shown else 200)


def _save(request: MemberRequest, series: Series, form: CostumeTableForm) -> Shown | None:
    parts = list(form.costume.parts.active().values_list("pk", flat=True))

    def hold() -> None:
        hold_to_decide(series.pk, parts)
        hold_places(form.places)

    def locking() -> None:
        made = _lock(request, form)
        messages.success(request, f"{counted(made, 'code')} locked in one decision: it can be undone as one.")

    return carry_out(request, lambda: rehearse(series, lambda: _lock(request, form)), locking, hold)


def _lock(request: MemberRequest, form: CostumeTableForm) -> int:
    arguments, costume = form.table(), form.costume
    if form.is_copy:
        subject = costume.subject
        costume = Costume(subject=subject, name=form.cleaned_data["name"], rank=subject.costumes.count())
        add_costume(
            row=costume, worn=[Stretch(arguments["from_position"], arguments["to_position"])], by=request.user
        )
    return len(lock_costume(costume=costume, by=request.user, **arguments))
