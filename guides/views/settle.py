"""Settling from guides: see what the marks speak for, accept it per part, per subject, or for all, step by step."""

from __future__ import annotations

import time

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from bible.access import LEADS, MemberRequest, member
from bible.models import Part, Series
from bible.names import counted
from bible.running_order import RunningOrder
from bible.services import Refused, hold_series
from bible.whole_numbers import whole_number
from guides.impact import rehearse
from guides.settle import Settlement, accept, accept_unasked, settle, settle_all, subjects_to_settle, token
from guides.views.confirm import Shown, carry_out

STEP_SECONDS = 1.0
"""How long one step of settling everything works before it answers: the bar moves, and “stop” is heard."""


@require_safe
@member(*LEADS)
def overview(request: MemberRequest, series: Series) -> HttpResponse:
    """Which subjects have marks that no lock speaks of yet."""
    return render(request, "guides/settle.html", {"series": series, "subjects": subjects_to_settle(series)})


@member(*LEADS)
def settle_subject(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The history of each part with its evidence; what is ticked is locked, exactly as shown."""
    subject = get_object_or_404(series.subjects, pk=pk)
    found = settle(series, Part.objects.filter(costume__subject=subject))
    trouble, wanted = "", {one.key for one in found if one.is_firm}
    shown: Shown | None = None
    if request.method == "POST":
        wanted = set(request.POST.getlist("part"))
        if request.POST.get("seen") != token(found):
            trouble = "The marks or locks have moved meanwhile: this is what they say now. Nothing is locked yet."
        elif not wanted:
            trouble = "Tick at least one part."
        else:
            try:
                shown = _accept(request, series, [one for one in found if one.key in wanted])
                if shown is None:
                    number = sum(len(one.locks) for one in found if one.key in wanted)
                    messages.success(request, f"{counted(number, 'lock')} of {subject} settled.")
                    return redirect(subject)
            except Refused as refusal:
                trouble = str(refusal)
    context = {
        "series": series,
        "subject": subject,
        "found": found,
        "token": token(found),
        "trouble": trouble,
        "wanted": wanted,
        "shown": shown,
        "running_order": RunningOrder.of(series),
    }
    return render(request, "guides/settle_subject.html", context, status=422 if trouble or shown else 200)


def _accept(request: MemberRequest, series: Series, chosen: list[Settlement]) -> Shown | None:
    """What is ticked is locked once its consequences have been seen, sign-offs that fall among them."""

    def accepting() -> None:
        accept(series=series, settlements=chosen, by=request.user)

    return carry_out(request, lambda: rehearse(series, accepting), accepting, hold=lambda: hold_series(series.pk))


@require_POST
@member(*LEADS)
def settle_everything(request: MemberRequest, series: Series) -> HttpResponse:
    """One step: the next subjects for about a second, then how far it has come. Only firm histories are locked, and
    only where no flag would open and no sign-off fall: those wait for somebody to look at them.

    The browser asks for the next step, so that stopping is not asking; every step is whole in itself.
    """
    after, done, locks = (whole_number(request.POST.get(name)) or 0 for name in ("after", "done", "locks"))
    waiting = [subject for subject in subjects_to_settle(series) if subject.pk > after]
    begun, refusals = time.monotonic(), []
    total = done + len(waiting)
    for subject, found in settle_all(series, waiting):
        try:
            locks += accept_unasked(series=series, settlements=[one for one in found if one.is_firm], by=request.user)
        except Refused as refusal:
            refusals.append(f"{subject}: {refusal}")
        done, after = done + 1, subject.pk
        if time.monotonic() - begun > STEP_SECONDS:
            break
    context = {
        "series": series,
        "after": after,
        "done": done,
        "total": total,
        "locks": locks,
        "finished": done >= total,
        "refusals": refusals,
    }
    return render(request, "guides/_settling.html" if request.htmx else "guides/settling.html", context)
