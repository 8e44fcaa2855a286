"""Changing how codes read, once it has been said which marks would read differently; and a tint's marks."""

from __future__ import annotations

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from bible.access import EVERYBODY, LEADS, MemberRequest, member
from bible.colour.chart_table import ChartTableError, read_table
from bible.colour.charts import STANDARD_CHARTS, Chart
from bible.colour.tints import Tint
from bible.digest import digest
from bible.forms.notation import NotationForm, fingerprint
from bible.limits import FITS, limited
from bible.models import Series
from bible.services import change_reading, hold_series
from guides.models import Mark
from guides.reading_changes import ReadingPreview, preview

ISSUES_NAMED = 24


@member(*LEADS)
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
        found = preview(series, form.notation, _chart(series, kind))
        shown = _shown(series, form.asked, found)
        if form.is_stale:
            _see_again(form, seen=fingerprint(series.notation, series.chart_kind))
            form.add_error(None, "Somebody changed these settings meanwhile; look at what yours would do now.")
        elif "yes" in request.POST and form.cleaned_data["previewed"] == shown:
            change_reading(series=series, notation=form.notation, chart_kind=kind, by=request.user)
            messages.success(request, "Saved. What was written stays as it is and is read anew.")
            return redirect("notation", series.slug)
        context |= {"preview": found, "moved": "yes" in request.POST and form.cleaned_data["previewed"]}
        _see_again(form, previewed=shown)
    return render(request, "guides/edit_notation.html", context, status=422 if form.errors else 200)


def _held(series: Series) -> Series:
    """The series as it is now; until this transaction ends, others who change how it reads or mark in it wait."""
    hold_series(series.pk)
    return Series.objects.get(pk=series.pk)


def _shown(series: Series, asked: str, found: ReadingPreview) -> str:
    """Stands for what is asked for, what it would change, and what it would replace."""
    replaced = fingerprint(series.notation, series.chart_kind, series.chart_data)
    return digest(f"{asked} {found.token} {replaced}")


def _see_again(form: NotationForm, **hidden: str) -> None:
    """The same form, whose next sending knows what was shown by now."""
    form.data = {name: form.data.get(name) for name in form.fields} | hidden


def _chart(series: Series, kind: str) -> Chart:
    if kind in STANDARD_CHARTS:
        return STANDARD_CHARTS[kind]
    return Series(title=series.title, chart_kind=kind, chart_data=series.chart_data).chart


@member(*LEADS)
@limited(FITS)
def house_chart(request: MemberRequest, series: Series) -> HttpResponse:
    """Make an audited table the house chart, once it has been said what that changes."""
    if request.method != "POST":
        return redirect("chart-audit", series.slug)
    text = request.POST.get("table", "")
    try:
        chart = read_table(text).chart("house", f"House chart of {series.title}")
    except (ChartTableError, ValueError) as error:
        return render(request, "guides/house_chart.html", {"series": series, "error": str(error)}, status=422)
    if "yes" not in request.POST:
        return _house_page(request, series, chart, text)
    with transaction.atomic():
        return _house_page(request, _held(series), chart, text)


def _house_page(request: MemberRequest, series: Series, chart: Chart, text: str) -> HttpResponse:
    found = preview(series, series.notation, chart)
    asked = fingerprint(series.notation, chart.name, (tint.packed for tint in chart.tints))
    shown, previewed = _shown(series, asked, found), request.POST.get("previewed", "")
    if "yes" in request.POST and previewed == shown:
        tints = list(chart.tints)
        kind = Series.ChartKind.HOUSE.value
        change_reading(series=series, notation=series.notation, chart_kind=kind, house_tints=tints, by=request.user)
        messages.success(request, f"{series} now has a house chart of {len(chart)} tints.")
        return redirect("chart", series.slug)
    context = {
        "series": series,
        "chart": chart,
        "text": text,
        "previewed": shown,
        "preview": found,
        "moved": "yes" in request.POST and previewed,
    }
    return render(request, "guides/house_chart.html", context)


@require_safe
@member(*EVERYBODY)
def tint_marks(request: MemberRequest, series: Series, c: int, m: int, y: int, k: int) -> HttpResponse:
    """How many standing marks carry a tint, and in which issues."""
    try:
        tint = Tint(c, m, y, k)
    except ValueError as error:
        raise Http404(str(error)) from error
    counts = Mark.objects.filter(series=series, tint=tint.packed).live().counts_by_position()
    issues = series.issues.filter(position__in=sorted(counts)[-ISSUES_NAMED:]).order_by("-position")
    context = {
        "series": series,
        "tint": tint,
        "total": sum(counts.values()),
        "issue_count": len(counts),
        "issues": [(issue, counts[issue.position]) for issue in issues],
    }
    return render(request, "guides/_tint_marks.html" if request.htmx else "guides/tint_marks.html", context)
