"""Deciding from what marks say: settling locks, and how codes read."""

from __future__ import annotations

import time

from django.contrib import messages
from django.contrib.auth.models import User
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from bible.chart.forms import NotationForm, fingerprint
from bible.chart.services import change_reading
from bible.colour.chart_table import ChartTableError, read_table
from bible.colour.charts import Chart
from bible.colour.tints import Tint
from bible.models import Part, Series, Subject
from bible.models.permissions import Permission
from bible.series.holding import hold_series
from bible.series.refusals import Refused
from bible.series.running_order import RunningOrder
from bible.web.access import MemberRequest, member
from bible.web.digest import digest
from bible.web.limits import FITS, limited
from bible.web.methods import FORM, POST, SAFE
from bible.web.names import counted
from bible.web.whole_numbers import whole_number
from guides.core.confirm import Shown, carry_out
from guides.core.impact import rehearse
from guides.decisions.reading_changes import ReadingPreview, preview
from guides.decisions.settle import Settlement, accept, accept_unasked, settle, settle_all, subjects_to_settle, token
from guides.models import Mark

STEP_SECONDS = 1.0
"""How long one step of settling everything works before it answers: the bar moves, and “stop” is heard."""


@member(Permission.LOCK, SAFE)
def overview(request: MemberRequest, series: Series) -> HttpResponse:
    """Which subjects have marks that no lock speaks of yet."""
    return render(request, "guides/decisions/settle.html", {"series": series, "subjects": subjects_to_settle(series)})


def _ticked(seen: str | None, settlements: list[Settlement], wanted: set[str]) -> list[Settlement]:
    """What of the histories somebody saw is to be locked."""
    ticked = [settlement for settlement in settlements if settlement.key in wanted]
    if seen != token(settlements):
        raise Refused("The marks or locks have moved meanwhile: this is what they say now. Nothing is locked yet.")
    if not ticked:
        raise Refused("Tick at least one part.")
    return ticked


@member(Permission.LOCK, FORM)
def settle_subject(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The history of each part with its evidence; what is ticked is locked, exactly as shown."""
    subject = get_object_or_404(series.subjects, pk=pk)
    settlements = settle(series, Part.objects.filter(costume__subject=subject))
    context = {"series": series, "subject": subject, "found": settlements, "token": token(settlements)}
    context["running_order"] = RunningOrder.of(series)
    if request.method != "POST":
        context["wanted"] = {settlement.key for settlement in settlements if settlement.is_firm}
        return render(request, "guides/decisions/settle_subject.html", context)
    context["wanted"] = wanted = set(request.POST.getlist("part"))
    try:
        ticked = _ticked(request.POST.get("seen"), settlements, wanted)
        context["shown"] = _accept(request, series, ticked)
        if context["shown"] is None:
            locks = counted(sum(len(settlement.locks) for settlement in ticked), "lock")
            messages.success(request, f"{locks} of {subject} settled.")
            return redirect(subject)
    except Refused as refusal:
        context["trouble"] = str(refusal)
    return render(request, "guides/decisions/settle_subject.html", context, status=422)


def _accept(request: MemberRequest, series: Series, chosen: list[Settlement]) -> Shown | None:
    """What is ticked is locked once its consequences have been seen, sign-offs that fall among them."""

    def accepting() -> None:
        accept(series=series, settlements=chosen, by=request.user)

    return carry_out(request, lambda: rehearse(series, accepting), accepting, hold=lambda: hold_series(series.pk))


def _settle_some(series: Series, waiting: list[Subject], by: User) -> tuple[list[Subject], int, list[str]]:
    """As many subjects as a step takes: which, how many locks that made, and what was refused."""
    begun, locks = time.monotonic(), 0
    settled: list[Subject] = []
    refusals: list[str] = []
    for subject, settlements in settle_all(series, waiting):
        try:
            firm = [settlement for settlement in settlements if settlement.is_firm]
            locks += accept_unasked(series=series, settlements=firm, by=by)
        except Refused as refusal:
            refusals.append(f"{subject}: {refusal}")
        settled.append(subject)
        if time.monotonic() - begun > STEP_SECONDS:
            break
    return settled, locks, refusals


@member(Permission.LOCK, POST)
def settle_everything(request: MemberRequest, series: Series) -> HttpResponse:
    """One step: the next subjects for about a second, then how far it has come. Only firm histories are locked, and
    only where no flag would open and no sign-off fall: those wait for somebody to look at them.

    The browser asks for the next step, so that stopping is not asking; every step is whole in itself.
    """
    after, done, locks = (whole_number(request.POST.get(name)) or 0 for name in ("after", "done", "locks"))
    waiting = [subject for subject in subjects_to_settle(series) if subject.pk > after]
    total = done + len(waiting)
    settled, made, refusals = _settle_some(series, waiting, request.user)
    done, after = done + len(settled), settled[-1].pk if settled else after
    context = {"series": series, "after": after, "done": done, "total": total, "locks": locks + made}
    context |= {"finished": done >= total, "refusals": refusals}
    name = "_settling" if request.htmx else "settling"
    return render(request, f"guides/decisions/{name}.html", context)


ISSUES_NAMED = 24


@member(Permission.SET_UP, FORM)
@limited(FITS)
def edit_notation(request: MemberRequest, series: Series) -> HttpResponse:
    """Show what new settings would change; save them on a yes to exactly what was shown."""
    if "yes" not in request.POST:
        return _notation_page(request, series)
    with transaction.atomic():
        return _notation_page(request, _held(series))


def _notation_page(request: MemberRequest, series: Series) -> HttpResponse:
    form = NotationForm(series, request.POST if request.method == "POST" else None)
    context: dict[str, object] = {"series": series, "form": form}
    if form.is_valid():
        kind = form.cleaned_data["chart_kind"]
        outcome = preview(series, form.notation, series.chart_of(kind, form.notation))
        shown = _shown(series, form.asked, outcome)
        if form.is_stale:
            _see_again(form, seen=fingerprint(series.notation, series.chart_kind))
            form.add_error(None, "Somebody changed these settings meanwhile; look at what yours would do now.")
        elif "yes" in request.POST and form.cleaned_data["previewed"] == shown:
            change_reading(series=series, notation=form.notation, chart_kind=kind, by=request.user)
            messages.success(request, "Saved. What was written stays as it is and is read anew.")
            return redirect("notation", series.slug)
        context |= {"preview": outcome, "moved": "yes" in request.POST and form.cleaned_data["previewed"]}
        _see_again(form, previewed=shown)
    return render(request, "guides/decisions/edit_notation.html", context, status=422 if form.errors else 200)


def _held(series: Series) -> Series:
    """The series as it is now; until this transaction ends, others who change how it reads or mark in it wait."""
    hold_series(series.pk)
    return Series.objects.get(pk=series.pk)


def _shown(series: Series, asked: str, outcome: ReadingPreview) -> str:
    """Stands for what is asked for, what it would change, and what it would replace."""
    replaced = fingerprint(series.notation, series.chart_kind, series.chart_data)
    return digest(f"{asked} {outcome.token} {replaced}")


def _see_again(form: NotationForm, **hidden: str) -> None:
    """The same form, whose next sending knows what was shown by now."""
    form.data = {name: form.data.get(name) for name in form.fields} | hidden


@member(Permission.SET_UP, FORM)
@limited(FITS)
def house_chart(request: MemberRequest, series: Series) -> HttpResponse:
    """Make an audited table the house chart, once it has been said what that changes."""
    if request.method != "POST":
        return redirect("chart-audit", series.slug)
    text = request.POST.get("table", "")
    try:
        chart = read_table(text).chart("house", f"House chart of {series.title}")
    except (ChartTableError, ValueError) as error:
        return render(
            request, "guides/decisions/house_chart.html", {"series": series, "error": str(error)}, status=422
        )
    if "yes" not in request.POST:
        return _house_page(request, series, chart, text)
    with transaction.atomic():
        return _house_page(request, _held(series), chart, text)


def _house_page(request: MemberRequest, series: Series, chart: Chart, text: str) -> HttpResponse:
    outcome = preview(series, series.notation, chart)
    asked = fingerprint(series.notation, chart.name, (tint.packed for tint in chart.tints))
    shown, previewed = _shown(series, asked, outcome), request.POST.get("previewed", "")
    if "yes" in request.POST and previewed == shown:
        tints = list(chart.tints)
        kind = Series.ChartKind.HOUSE.value
        change_reading(series=series, notation=series.notation, chart_kind=kind, house_tints=tints, by=request.user)
        messages.success(request, f"{series} now has a house chart of {counted(len(chart), 'tint')}.")
        return redirect("chart", series.slug)
    context = {
        "series": series,
        "chart": chart,
        "text": text,
        "previewed": shown,
        "preview": outcome,
        "moved": "yes" in request.POST and previewed,
    }
    return render(request, "guides/decisions/house_chart.html", context)


@member(Permission.READ, SAFE)
def tint_marks(request: MemberRequest, series: Series, tint: Tint) -> HttpResponse:
    """How many standing marks carry a tint, and in which issues."""
    counts = Mark.objects.filter(series=series, tint=tint.packed).live().counts_by_position()
    issues = series.issues.filter(position__in=sorted(counts)[-ISSUES_NAMED:]).order_by("-position")
    context = {
        "series": series,
        "tint": tint,
        "total": sum(counts.values()),
        "issue_count": len(counts),
        "issues": [(issue, counts[issue.position]) for issue in issues],
    }
    return render(
        request, "guides/decisions/_tint_marks.html" if request.htmx else "guides/decisions/tint_marks.html", context
    )
