"""What has happened: in a series since one's last visit, and what one person has done in it."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render

from bible.activity.exports import activity_table
from bible.activity.forms import ActivityForm
from bible.activity.queries import page_of, read_key
from bible.activity.services import look
from bible.exports.tables import CHUNK, answer, wanted
from bible.models import Activity, Proposal, Series
from bible.models.permissions import Permission
from bible.series.running_order import RunningOrder
from bible.web.access import MemberRequest, member
from bible.web.methods import SAFE

PROPOSALS_SHOWN = 12


@member(Permission.READ, SAFE)
def activity(request: MemberRequest, series: Series) -> HttpResponseBase:
    """Newest first. Opening it counts as having looked; the line shows where the last visit ended."""
    form = ActivityForm(request.membership, request.GET)
    rows = form.chosen(Activity.objects.visible_to(request.membership))
    if wanted(request) and form.is_valid():
        return answer(request, series, activity_table(series, rows.newest_first().with_names().iterator(CHUNK)))
    seen_until = look(request.membership)
    asked = {name: value for name in form.fields if (value := request.GET.get(name))}
    after = read_key(request.GET.get("after", ""))
    context = _context(series, [rows], after, asked) | {
        "form": form,
        "page": page_of(series, [rows], after, seen_until, request.user.pk),
        "seen_until": seen_until,
        "filtered": bool(asked),
    }
    template = (
        "bible/activity/_activity.html" if request.htmx.target == "activity" else "bible/activity/activity.html"
    )
    return render(request, template, context, status=422 if form.errors else 200)


def _context(series: Series, lists: list[Any], after: Any, asked: dict[str, str]) -> dict[str, Any]:
    return {
        "series": series,
        "running_order": RunningOrder.of(series),
        "continued": after is not None,
        "asked": urlencode(asked),
    }


@member(Permission.READ, SAFE)
def person(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """One member: what they have done, what was done about it, and their proposals with the answers."""
    membership = get_object_or_404(series.memberships.select_related("user"), pk=pk)
    rows = Activity.objects.visible_to(request.membership)
    lists = [rows.filter(by=membership.user_id), rows.filter(person=membership.user_id)]
    after = read_key(request.GET.get("after", ""))
    proposals = Proposal.objects.none()
    if request.membership.may(Permission.DISCUSS):
        proposals = series.proposals.by(membership.user_id).with_names().order_by("-id")[:PROPOSALS_SHOWN]
    context = _context(series, lists, after, {}) | {
        "found": membership,
        "mine": membership.user_id == request.user.pk,
        "page": page_of(series, lists, after, None),
        "proposals": proposals,
    }
    template = "bible/activity/_activity.html" if request.htmx.target == "activity" else "bible/activity/person.html"
    return render(request, template, context)
