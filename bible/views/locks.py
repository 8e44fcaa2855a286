"""Locking: deciding what a part must carry, from which issue on, and why."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from bible.access import LEADS, MemberRequest, member
from bible.forms import CorrectionForm, EndForm, LockForm, mark_as_seen
from bible.models import Lock, Part, Role, Series
from bible.models.locks import LockQuerySet
from bible.running_order import RunningOrder
from bible.services import Refused, StaleDecision, correct_lock, end_lock, last_decision, lock_tint


def _page(request: MemberRequest, series: Series, form: object, part: Part, **more: object) -> HttpResponse:
    context = {
        "series": series,
        "form": form,
        "part": part,
        "standing": Lock.objects.filter(part=part).standing().by_role().with_people(),
        "running_order": RunningOrder.of(series),
        "issues": series.issues.in_order(),
    }
    return render(request, "bible/lock.html", context | more)


def _refused(form: LockForm | CorrectionForm | EndForm, refusal: Refused) -> None:
    """Put a refusal on its form; after a stale decision the next save has seen the newer one."""
    form.add_error(None, str(refusal))
    if isinstance(refusal, StaleDecision):
        mark_as_seen(form, refusal.newest.pk)


@member(*LEADS)
def lock(request: MemberRequest, series: Series, part_pk: int) -> HttpResponse:
    part = get_object_or_404(Part.objects.of_series(series).with_names(), pk=part_pk)
    role = request.GET.get("role", Role.BASE)
    initial = {"role": role, "from_issue": request.GET.get("issue", ""), "seen": last_decision(part, role)}
    form = LockForm(series, request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            locked = lock_tint(part=part, by=request.user, **form.decision())
            messages.success(request, f"{part.full_name} is locked to {series.write(locked.tint)}.")
            return redirect(part.costume.subject)
        except Refused as refusal:
            _refused(form, refusal)
    return _page(request, series, form, part)


@member(*LEADS)
def correct(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    found = get_object_or_404(_locks(series), pk=pk)
    form = CorrectionForm(found, request.POST or None, initial={"seen": last_decision(found.part, found.role)})
    if request.method == "POST" and form.is_valid():
        tint, written = form.reading
        reason, seen = form.cleaned_data["reason"], form.cleaned_data["seen"]
        try:
            correct_lock(lock=found, tint=tint, written=written, by=request.user, reason=reason, seen=seen)
            messages.success(request, f"{found.part.full_name} is corrected to {series.write(tint)}.")
            return redirect(found.part.costume.subject)
        except Refused as refusal:
            _refused(form, refusal)
    return _page(request, series, form, found.part, lock=found, deed="Correct")


@member(*LEADS)
def end(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    found = get_object_or_404(_locks(series), pk=pk)
    form = EndForm(found, request.POST or None, initial={"seen": last_decision(found.part, found.role)})
    if request.method == "POST" and form.is_valid():
        issue, reason = form.cleaned_data["at_issue"], form.cleaned_data["reason"]
        seen = form.cleaned_data["seen"]
        try:
            end_lock(lock=found, at_position=issue.position, by=request.user, reason=reason, seen=seen)
            messages.success(request, f"{found.written} holds no longer from issue {issue.number} on.")
            return redirect(found.part.costume.subject)
        except Refused as refusal:
            _refused(form, refusal)
    return _page(request, series, form, found.part, lock=found, deed="End")


def _locks(series: Series) -> LockQuerySet:
    return Lock.objects.filter(series=series).standing().select_related("series", "part__costume__subject")
