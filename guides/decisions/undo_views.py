"""Undoing a decision about locks, once it has been seen what that does."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from bible.locks.undoing import Decided, decision_of, undo_decision, why_not_undone
from bible.models import Lock, Series
from bible.series.holding import hold_series
from bible.series.refusals import Refused
from bible.series.running_order import RunningOrder
from bible.web.access import LEADS, MemberRequest, member
from guides.core.confirm import Shown, carry_out
from guides.core.impact import rehearse


class UndoForm(forms.Form):
    """Why, and which decision was looked at."""

    reason = forms.CharField(max_length=300, required=False, help_text="It is read years later.")
    seen = forms.DateTimeField(widget=forms.HiddenInput(attrs={"autocomplete": "off"}))


@require_http_methods(["GET", "HEAD", "POST"])
@member(*LEADS)
def undo(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The newest decision about a lock, what undoing it would do, and doing exactly that."""
    locks = Lock.objects.filter(series=series).select_related("part__costume__subject__series")
    lock = get_object_or_404(locks, pk=pk)
    decided = decision_of(lock)
    form = UndoForm(request.POST if request.method == "POST" else None, initial={"seen": decided.at.isoformat()})
    trouble = why_not_undone(decided)
    shown: Shown | None = None
    if not trouble:
        try:
            shown = _undo(request, series, lock, form)
        except Refused as refusal:
            trouble = str(refusal)
        if request.method == "POST" and form.is_valid() and not shown and not trouble:
            messages.success(request, f"The decision about {lock.part.full_name} is undone.")
            return redirect(lock.part.costume.subject)
    context = {"lock": lock, "form": form, "decided": decided, "shown": shown, "trouble": trouble}
    return _page(request, series, decided, context)


def _undo(request: MemberRequest, series: Series, lock: Lock, form: UndoForm) -> Shown | None:
    """Only looked at where the form is opened."""
    if request.method != "POST" or not form.is_valid():
        return Shown(rehearse(series, lambda: undo_decision(lock=lock, by=request.user)), moved=False)
    said = {"lock": lock, "by": request.user, **form.cleaned_data}
    return carry_out(
        request,
        lambda: rehearse(series, lambda: undo_decision(**said)),
        lambda: undo_decision(**said),
        hold=lambda: hold_series(series.pk),
    )


def _page(request: MemberRequest, series: Series, decided: Decided, context: dict[str, object]) -> HttpResponse:
    context |= {
        "series": series,
        "together": len({(row.part_id, row.role) for row in (*decided.standing, *decided.withdrawn)}),
        "running_order": RunningOrder.of(series),
    }
    return render(
        request, "guides/decisions/undo_lock.html", context, status=422 if request.method == "POST" else 200
    )
