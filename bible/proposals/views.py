"""Proposals: asking for a lock, the queue, and the answers."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render

from bible.exports.tables import CHUNK, answer, wanted
from bible.models import Part, Proposal, Series
from bible.models.permissions import Permission
from bible.models.roles import BASE_ROLE
from bible.proposals.exports import proposals_table
from bible.proposals.forms import AnswerForm, ProposalForm
from bible.proposals.queries import with_look_alikes
from bible.proposals.services import decline_proposal, propose, withdraw_proposal
from bible.series.refusals import Refused
from bible.series.running_order import RunningOrder
from bible.web.access import MemberRequest, member
from bible.web.limits import PROPOSALS, limited
from bible.web.methods import FORM, POST, SAFE

ANSWERED_SHOWN = 60


@member(Permission.DISCUSS, SAFE)
def proposals(request: MemberRequest, series: Series) -> HttpResponseBase:
    """What waits for an answer, with what prints like it; below, what was answered."""
    if wanted(request):
        rows = series.proposals.with_names().order_by("-id").iterator(CHUNK)
        return answer(request, series, proposals_table(series, rows, RunningOrder.of(series)))
    return _page(request, series)


def _page(request: MemberRequest, series: Series, status: int = 200, **more: object) -> HttpResponse:
    waiting = series.proposals.waiting().with_names().order_by("id")
    answered = series.proposals.exclude(state=Proposal.State.WAITING).with_names()
    context = {
        "series": series,
        "waiting": with_look_alikes(series, list(waiting)),
        "answered": answered.order_by("-answered_at")[:ANSWERED_SHOWN],
        "running_order": RunningOrder.of(series),
    }
    return render(request, "bible/proposals/proposals.html", context | more, status=status)


@member(Permission.PROPOSE, FORM)
@limited(PROPOSALS)
def new_proposal(request: MemberRequest, series: Series, part_pk: int) -> HttpResponse:
    part = get_object_or_404(Part.objects.filter(costume__subject__series=series).with_names(), pk=part_pk)
    initial = {name: request.GET.get(name, "") for name in ("code", "seen_url")}
    initial |= {"role": request.GET.get("role", BASE_ROLE), "from_issue": request.GET.get("issue", "")}
    form = ProposalForm(part, request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid() and _proposed(request, form):
        return redirect("proposals", series.slug)
    context = {
        "series": series,
        "form": form,
        "title": f"Propose a code for {part.full_name}",
        "save": "Propose it",
        "back": part.costume.subject.get_absolute_url(),
        "issues": series.issues.suggested(),
    }
    return render(request, "bible/series/form.html", context, status=422 if form.errors else 200)


def _proposed(request: MemberRequest, form: ProposalForm) -> bool:
    try:
        propose(part=form.part, by=request.user, **form.asked())
    except Refused as refusal:
        form.add_error(None, str(refusal))
        return False
    messages.success(request, "Proposed: a lead colourist will answer it.")
    return True


@member(Permission.LOCK, POST)
def decline(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    proposal = get_object_or_404(series.proposals, pk=pk)
    form = AnswerForm(request.POST)
    if not form.is_valid():
        return _page(request, series, 422, refused=proposal.pk, refusal="Say why: the proposer reads it.")
    try:
        decline_proposal(proposal=proposal, by=request.user, answer=form.cleaned_data["answer"])
    except Refused as refusal:
        return _page(
            request, series, 422, refused=proposal.pk, refusal=str(refusal), typed=form.cleaned_data["answer"]
        )
    messages.success(request, "Declined; the proposer sees why.")
    return redirect("proposals", series.slug)


@member(Permission.PROPOSE, POST)
def withdraw_own(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    proposal = get_object_or_404(series.proposals, pk=pk)
    try:
        withdraw_proposal(proposal=proposal, by=request.user)
    except Refused as refusal:
        return _page(request, series, 422, refused=proposal.pk, refusal=str(refusal))
    messages.success(request, "Withdrawn.")
    return redirect("proposals", series.slug)
