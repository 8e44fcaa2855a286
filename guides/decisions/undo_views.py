"""Undoing a decision about locks, once it has been seen what that does."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from bible.locks.undoing import Decided, decision_of, undo_decision, why_not_undone
from bible.models import Lock, Series
from bible.models.permissions import Permission
from bible.series.holding import hold_series
from bible.series.refusals import Refused
from bible.series.running_order import RunningOrder
from bible.web.access import MemberRequest, member
from bible.web.methods import FORM
from bible.web.names import counted
from guides.core.confirm import Shown, carry_out
from guides.core.impact import Impact, rehearse
from guides.core.in_editions import PrintingImpact, rehearse_in


class UndoForm(forms.Form):
    """Why, which decision was looked at, and whether all that was decided in that moment goes with it."""

    reason = forms.CharField(max_length=300, required=False, help_text="It is read years later.")
    seen = forms.DateTimeField(widget=forms.HiddenInput(attrs={"autocomplete": "off"}))
    together = forms.BooleanField(required=False, widget=forms.HiddenInput(attrs={"autocomplete": "off"}))


@member(Permission.LOCK, FORM)
def undo(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The newest decision about a lock, what undoing it would do, and doing exactly that."""
    locks = Lock.every_printing.filter(series=series).select_related("edition", "part__costume__subject__series")
    lock = get_object_or_404(locks, pk=pk)
    sent = request.POST if request.method == "POST" else None
    together = (request.GET if sent is None else sent).get("together") == "True"
    decided = decision_of(lock, together=together)
    form = UndoForm(sent, initial={"seen": decided.at.isoformat(), "together": together})
    trouble, shown = _undo(request, series, decided, lock, form, together)
    if form.is_valid() and not shown and not trouble:
        messages.success(request, _told(lock, decided))
        return redirect(lock.part.costume.subject)
    context = {"lock": lock, "form": form, "decided": decided, "shown": shown, "trouble": trouble}
    context |= {"together": together, "all": decided if together else decision_of(lock, together=True)}
    return _page(request, series, context)


def _told(lock: Lock, decided: Decided) -> str:
    if decided.codes > 1:
        return f"The decision about {lock.part.full_name} is undone, {counted(decided.codes, 'code')} in all."
    return f"The decision about {lock.part.full_name} is undone."


def _undo(
    request: MemberRequest, series: Series, decided: Decided, lock: Lock, form: UndoForm, together: bool
) -> tuple[str, Shown | None]:
    """Why it is not undone, and what waits for a yes; neither where it is done."""
    if trouble := why_not_undone(decided, form.cleaned_data.get("seen") if form.is_valid() else None):
        return trouble, None
    try:
        return "", _undo_as_shown(request, series, lock, form, together)
    except Refused as refusal:
        return str(refusal), None


def _undo_as_shown(
    request: MemberRequest, series: Series, lock: Lock, form: UndoForm, together: bool
) -> Shown | None:
    """Only looked at where the form is opened."""
    if not form.is_valid():
        looked = partial(undo_decision, lock=lock, by=request.user, together=together)
        return Shown(_rehearse(series, lock, looked), moved=False)
    decision = {"lock": lock, "by": request.user, **form.cleaned_data}
    return carry_out(
        request,
        lambda: _rehearse(series, lock, lambda: undo_decision(**decision)),
        lambda: undo_decision(**decision),
        hold=lambda: hold_series(series.pk),
    )


def _rehearse(series: Series, lock: Lock, deed: Callable[[], object]) -> Impact | PrintingImpact:
    """What is decided for an edition moves what its marks need, and nothing else."""
    if lock.edition:
        return rehearse_in(lock.edition, [lock.part_id], deed)
    return rehearse(series, deed)


def _page(request: MemberRequest, series: Series, context: dict[str, object]) -> HttpResponse:
    context |= {"series": series, "running_order": RunningOrder.of(series)}
    return render(
        request, "guides/decisions/undo_lock.html", context, status=422 if request.method == "POST" else 200
    )
