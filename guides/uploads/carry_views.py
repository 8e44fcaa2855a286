"""The marks of a page's older scan on its new one: shown for a yes, carried over, and taken back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from bible.models import Issue, Series
from bible.models.permissions import Permission
from bible.series.refusals import Refused
from bible.web.access import MemberRequest, member
from bible.web.limits import CARRIES, limited
from bible.web.methods import FORM, POST
from bible.web.names import counted
from guides.imaging.proof.registration import NotRegistered
from guides.models import Carry, Guide, Mark, awaiting_marks
from guides.uploads.carrying import CarriedMark, Plan, carry_marks, foresee, source_of, to_look_at, undo_carry

Way = Carry.Way

PINS_ACROSS = 760
"""A pin is drawn 18 units wide; a page is so many high, and two figures are read at 800 px."""


@dataclass(frozen=True, slots=True)
class CarryRow:
    """A mark with its place on both scans, in their pixels."""

    mark: Mark
    moved: CarriedMark
    before: tuple[float, float]
    after: tuple[float, float]
    tip_before: tuple[float, float] | None
    tip_after: tuple[float, float] | None


@member(Permission.UPLOAD, FORM)
@limited(CARRIES, "GET", "POST")
def carry(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Old and new scan side by side with the marks on both; the yes carries a seal of what was shown."""
    guide = get_object_or_404(Guide.objects.select_related("series", "issue"), series=series, pk=pk)
    source = source_of(guide)
    if source is None:
        messages.info(request, "No older scan of this page has marks: there is nothing to carry over.")
        return redirect(guide)
    refusal = ""
    if request.method == "POST":
        try:
            return _answered(request, guide, source)
        except Refused as refused:
            refusal = str(refused)
    context = _shown(request, guide, source) | {"refusal": refusal}
    return render(request, "guides/uploads/carry.html", context, status=422 if refusal else 200)


def _answered(request: MemberRequest, guide: Guide, source: Guide) -> HttpResponse:
    way = request.POST.get("way", "")
    plan = (
        foresee(guide, source, Way.EMPTY)
        if way == Way.EMPTY
        else Plan.opened(request.POST.get("plan", ""), guide)
    )  # fmt: skip
    done = carry_marks(guide=guide, plan=plan, by=request.user, edge=request.POST.get("edge") == "on")
    if done.is_empty:
        messages.success(request, f"{guide} begins empty; the marks stay on revision {source.revision}.")
    else:
        messages.success(
            request, f"{counted(len(done.numbers), 'mark')} of revision {source.revision} carried over to {guide}."
        )
    following = waiting(guide.issue).first() if request.POST.get("next") else None
    return redirect("carry", guide.series.slug, following.pk) if following else redirect(guide)


def waiting(issue: Issue) -> Any:
    """The pages of an issue whose marks wait on an older scan, in order."""
    return awaiting_marks(Guide.objects.filter(issue=issue)).in_order().select_related("series")


def _plan(guide: Guide, source: Guide, way: Way) -> tuple[Plan | None, str]:
    """Where the marks would be on the new scan; or, where that cannot be said, why."""
    try:
        return foresee(guide, source, way), ""
    except NotRegistered as refusal:
        return None, str(refusal)
    except FileNotFoundError:
        return None, "A picture’s file is missing."


def _shown(request: MemberRequest, guide: Guide, source: Guide) -> dict[str, Any]:
    way = Way.FRACTIONS if request.GET.get("way", "") == Way.FRACTIONS else Way.REGISTERED
    plan, trouble = _plan(guide, source, way)
    return {
        "series": guide.series,
        "guide": guide,
        "source": source,
        "plan": plan,
        "carry_rows": _rows(guide, source, plan) if plan else [],
        "pin_before": round(max(source.width, source.height) / PINS_ACROSS, 3),
        "pin_after": round(max(guide.width, guide.height) / PINS_ACROSS, 3),
        "trouble": trouble,
        "by_fractions": way == Way.FRACTIONS,
        "said": Carry.objects.standing().filter(guide=guide).with_names().first(),
        "own_marks": Mark.objects.filter(guide=guide, deleted_at=None).count(),
        "others": list(waiting(guide.issue).exclude(pk=guide.pk)),
    }


def _rows(guide: Guide, source: Guide, plan: Plan) -> list[CarryRow]:
    marks = Mark.objects.filter(guide=source).with_parts().in_bulk([moved.mark for moved in plan.moved])
    rows = []
    for moved in plan.moved:
        mark = marks[moved.mark]
        mark.series, mark.guide = guide.series, source
        rows.append(
            CarryRow(
                mark,
                moved,
                _px((mark.x, mark.y), source),
                _px((moved.x, moved.y), guide),
                _px(mark.arrow_end, source) if mark.arrow_end else None,
                _px(moved.to, guide) if moved.to else None,
            )
        )
    return rows


def _px(at: tuple[float, float], guide: Guide) -> tuple[float, float]:
    return (round(at[0] * guide.width, 1), round(at[1] * guide.height, 1))


@member(Permission.UPLOAD, POST)
def undo(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Take the carried marks off again; then it can be answered anew."""
    carry = get_object_or_404(Carry.objects.with_names(), series=series, pk=pk)
    carry.guide.series = series
    try:
        undo_carry(carry=carry, by=request.user)
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect(carry.guide)
    messages.success(request, "Undone: the marks are on the older scan only.")
    return redirect("carry", series.slug, carry.guide_id)


def carry_context(guide: Guide) -> dict[str, Any]:
    """What a page says about marks of its older scan: that they wait, or which were carried over and to be looked
    at, or stayed behind."""
    if not guide.stands or guide.revision == 1:
        return {}
    if awaiting_marks(Guide.objects.filter(pk=guide.pk)).exists():
        return {"marks_wait": source_of(guide)}
    carried = Carry.objects.standing().filter(guide=guide).exclude(way=Way.EMPTY).with_names().first()
    if carried is None:
        return {}
    behind = Mark.objects.filter(guide=carried.source_id, number__in=carried.left).order_by("number")
    return {"carried": carried, "look_at": to_look_at(carried), "left_behind": list(behind)}
