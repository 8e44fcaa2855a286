"""Locking: deciding what a part must carry, from which issue on, and why, with what that does to the marks."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from bible.locks.forms import CorrectionForm, EndForm, LockDecisionForm, seen_decisions
from bible.locks.services import StaleDecision, correct_lock, end_lock, last_decision, lock_rule, lock_tint
from bible.locks.stretches import rule_pieces, until
from bible.models import Edition, Issue, Lock, LockQuerySet, Part, Proposal, Series
from bible.models.permissions import Permission
from bible.models.roles import BASE_ROLE
from bible.proposals.services import accept_proposal
from bible.series.forms import mark_as_seen
from bible.series.holding import hold_places, hold_to_decide, hold_to_lock
from bible.series.refusals import Refused
from bible.series.running_order import RunningOrder, in_force_in
from bible.web.access import MemberRequest, member
from bible.web.methods import FORM, SAFE
from bible.web.whole_numbers import whole_number
from guides.core import impact
from guides.core.confirm import Shown, carry_out
from guides.core.in_editions import PrintingImpact, rehearse_in

if TYPE_CHECKING:
    from django.contrib.auth.models import User


def _page(request: MemberRequest, series: Series, form: object, part: Part, **more: object) -> HttpResponse:
    context = {
        "series": series,
        "form": form,
        "part": part,
        "standing": _standing(part, series),
        "running_order": RunningOrder.of(series),
        "issues": series.issues.suggested(),
    }
    status = 422 if getattr(form, "errors", None) or more.get("shown") else 200
    return render(request, "guides/decisions/lock.html", context | more, status=status)


def _standing(part: Part, series: Series) -> LockQuerySet:
    """What holds for a part, whatever the printing."""
    standing = Lock.every_printing.filter(part=part).standing().by_role(series.roles)
    return standing.with_people().select_related("edition", "decided_by", "withdrawn_by")


def _refused(form: LockDecisionForm | CorrectionForm | EndForm, refusal: Refused) -> None:
    """Put a refusal on its form; after a stale decision the next save has seen the newer one."""
    form.add_error(None, str(refusal))
    if isinstance(refusal, StaleDecision):
        mark_as_seen(
            form, seen_decisions(form.part, form.edition) if isinstance(form, LockDecisionForm) else refusal.newest.pk
        )


def _part(series: Series, pk: int) -> Part:
    """Archived ones too: what is locked for them may still need putting right."""
    parts = Part.objects.filter(costume__subject__series=series)
    return get_object_or_404(parts.with_names().select_related("costume__subject__series"), pk=pk)


def _impact(part: Part, form: LockDecisionForm, by: User) -> impact.Impact | PrintingImpact:
    if form.edition:
        return rehearse_in(form.edition, [part.pk], lambda: _decide(part, form, by))
    data = form.cleaned_data
    start, end = data["from_position"], data["to_position"]
    if form.rule:
        return impact.of_rule(part, data["role"], form.rule, start, end)
    return impact.of_lock(part, data["role"], data["code"][0], start, end)


@member(Permission.LOCK, FORM)
def lock(request: MemberRequest, series: Series, part_pk: int) -> HttpResponse:
    part = _part(series, part_pk)
    proposal = _proposal(request, part)
    form = LockDecisionForm(part, request.POST or None, initial=_initial(request, proposal), edition=request.edition)
    shown = None
    if request.method == "POST" and form.is_valid():
        try:
            shown = carry_out(
                request,
                lambda: _impact(part, form, request.user),
                lambda: _lock(request, part, form, proposal),
                hold=lambda: hold_to_lock(series.pk, [part.pk]),
            )
            if shown is None:
                return redirect("proposals", series.slug) if proposal else redirect(_back(part, form.edition))
        except Refused as refusal:
            _refused(form, refusal)
    in_force = _in_force(part, form) if shown else ""
    return _page(request, series, form, part, shown=shown, proposal=proposal, in_force=in_force, live_impact=True)


def _lock(request: MemberRequest, part: Part, form: LockDecisionForm, proposal: Proposal | None) -> None:
    hold_places(form.places)
    locks = _decide(part, form, request.user)
    if proposal:
        accept_proposal(proposal=proposal, lock=locks[0], by=request.user, answer=form.cleaned_data["reason"])
    in_force = in_force_in(form.series, [(lock.from_position, lock.to_position) for lock in locks])
    where = f" in the edition {form.edition}" if form.edition else ""
    messages.success(request, f"{part.full_name} is locked to {locks[0].written}{where}. In force: {in_force}.")


def _decide(part: Part, form: LockDecisionForm, by: User) -> list[Lock]:
    decide = lock_rule if form.rule else lock_tint
    made = decide(part=part, by=by, **form.decision())
    return made if isinstance(made, list) else [made]


def _back(part: Part, edition: Edition | None) -> str:
    """The part's subject, as the edition needs it where it was decided for one."""
    query = f"?{urlencode({'edition': edition.name})}" if edition else ""
    return f"{part.costume.subject.get_absolute_url()}{query}"


def _in_force(part: Part, form: LockDecisionForm) -> str:
    """In which issues the lock in the form would be in force; empty where it does not say yet.

    Raises:
        Refused: in none.
    """
    if {"role", "from_issue", "to_issue"} & set(form.errors):
        return ""
    data = form.cleaned_data
    start, asked = data["from_position"], data["to_position"]
    end = until(part, data["role"], start, asked, form.edition)
    stretches = [(start, end)]
    if form.rule:
        stretches = [(begins, ends) for begins, ends, _ in rule_pieces(part, form.rule, start, end, form.edition)]
    in_words = in_force_in(form.series, stretches)
    return in_words if end == asked or not in_words else f"{in_words}; then another decision holds"


def _proposal(request: MemberRequest, part: Part) -> Proposal | None:
    """The proposal that this lock answers, where it comes from one that still waits."""
    asked = whole_number(request.POST.get("proposal", request.GET.get("proposal"))) or 0
    return Proposal.objects.filter(part=part, pk=asked).waiting().with_names().first()


def _initial(request: MemberRequest, proposal: Proposal | None) -> dict[str, object]:
    if proposal is None:
        return {"role": request.GET.get("role", BASE_ROLE), "from_issue": request.GET.get("issue", "")}
    order = RunningOrder.of(proposal.series)
    first = order.first_from(proposal.from_position) if proposal.from_position else None
    last = order.last_before(proposal.to_position) if proposal.to_position else None
    return {
        "role": proposal.role,
        "code": proposal.written,
        "from_issue": first.number if first else "",
        "to_issue": last.number if last else "",
        "reason": proposal.note,
    }


@member(Permission.PROPOSE, SAFE)
def lock_impact(request: MemberRequest, series: Series, part_pk: int) -> HttpResponse:
    """What the lock in the form, as far as it is written, would do: read on the way, nothing is saved."""
    part = _part(series, part_pk)
    form = LockDecisionForm(part, request.GET, edition=request.edition)
    context: dict[str, object] = {"series": series, "part": part}
    try:
        context["in_force"] = _in_force(part, form)
        if form.is_valid():
            context["impact"] = _impact(part, form, request.user)
    except Refused as refusal:
        context["refusal"] = str(refusal)
    return render(request, "guides/core/_impact.html", context)


@member(Permission.LOCK, FORM)
def correct(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    lock = get_object_or_404(_locks(series), pk=pk)
    form = CorrectionForm(
        lock, request.POST or None, initial={"seen": last_decision(lock.part, lock.role, lock.edition)}
    )
    shown = None
    if request.method == "POST" and form.is_valid():
        try:
            shown = _correct(request, lock, form)
            if shown is None:
                in_force = RunningOrder.of(series).span(lock)
                code = series.write(form.reading[0])
                messages.success(request, f"{lock.part.full_name} is corrected to {code}. In force: {in_force}.")
                return redirect(_back(lock.part, lock.edition))
        except Refused as refusal:
            _refused(form, refusal)
    return _page(request, series, form, lock.part, lock=lock, deed="Correct", shown=shown)


def _correct(request: MemberRequest, lock: Lock, form: CorrectionForm) -> Shown | None:
    tint, written = form.reading
    grounds = {name: form.cleaned_data[name] for name in ("reason", "seen")}
    arguments: dict[str, Any] = {"tint": tint, "written": written, "by": request.user} | grounds
    return carry_out(
        request,
        lambda: _impact_of(lock, lambda: impact.of_correction(lock, tint), partial(correct_lock, **arguments)),
        lambda: correct_lock(lock=lock, **arguments),
        hold=lambda: hold_to_decide(lock.series_id, [lock.part_id]),
    )


@member(Permission.LOCK, FORM)
def end(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    lock = get_object_or_404(_locks(series), pk=pk)
    form = EndForm(lock, request.POST or None, initial={"seen": last_decision(lock.part, lock.role, lock.edition)})
    shown = None
    if request.method == "POST" and form.is_valid():
        issue = form.cleaned_data["at_issue"]
        try:
            shown = _carry_out_end(request, lock, issue, form)
            if shown is None:
                messages.success(request, f"{lock.written} holds no longer from issue {issue.number} on.")
                return redirect(_back(lock.part, lock.edition))
        except Refused as refusal:
            _refused(form, refusal)
    return _page(request, series, form, lock.part, lock=lock, deed="End", shown=shown)


def _carry_out_end(request: MemberRequest, lock: Lock, issue: Issue, form: EndForm) -> Shown | None:
    arguments: dict[str, Any] = {name: form.cleaned_data[name] for name in ("reason", "seen")} | {"by": request.user}
    rehearsed = partial(end_lock, at_position=issue.position, **arguments)
    return carry_out(
        request,
        lambda: _impact_of(lock, lambda: impact.of_end(lock, issue.position), rehearsed),
        lambda: _end(lock, issue, **arguments),
        hold=lambda: hold_to_decide(lock.series_id, [lock.part_id]),
    )


def _impact_of(
    lock: Lock, counted: Callable[[], impact.Impact], deed: Callable[..., object]
) -> impact.Impact | PrintingImpact:
    """Of changing a lock; one of an edition is rehearsed, on a lock of its own: the deed writes into it."""
    if lock.edition is None:
        return counted()
    again = _locks(lock.series).get(pk=lock.pk)
    return rehearse_in(lock.edition, [lock.part_id], lambda: deed(lock=again))


def _end(lock: Lock, issue: Issue, **said: Any) -> None:
    hold_places([issue])
    end_lock(lock=lock, at_position=issue.position, **said)


def _locks(series: Series) -> LockQuerySet:
    locks = Lock.every_printing.filter(series=series).standing()
    return locks.select_related("series", "edition", "part__costume__subject__series")
