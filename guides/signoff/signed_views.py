"""What was signed, as it was, and as it is now."""

from __future__ import annotations

from django.http import HttpResponseBase
from django.shortcuts import get_object_or_404, render

from bible.exports.tables import answer, wanted
from bible.models import Series
from bible.models.permissions import Permission
from bible.web.access import MemberRequest, member
from bible.web.methods import SAFE
from guides.core.kept import changes_since, rows_of, scans_changed
from guides.models import IssueStep
from guides.signoff.exports import signed_changes_table, signed_table


@member(Permission.READ, SAFE)
def signed(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """One signing: what has moved since, and all that was signed; each as a table to take along."""
    steps = IssueStep.objects.filter(series=series).signings().select_related("issue__series", "by")
    step = get_object_or_404(steps, pk=pk)
    state = getattr(step, "state", None)
    rows = list(rows_of(state).values()) if state else []
    if wanted(request) and request.GET.get("list") == "signed":
        return answer(request, series, signed_table(series, step, rows))
    changes = changes_since(step, state) if state else []
    if wanted(request):
        return answer(request, series, signed_changes_table(series, step, changes))
    context = {"series": series, "step": step, "issue": step.issue, "state": state, "changes": changes, "rows": rows}
    context["scans"] = scans_changed(step, state) if state else []
    return render(request, "guides/signoff/signed.html", context)
