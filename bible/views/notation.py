"""How a series writes its codes, as everybody may read it, and the audit of a house chart."""

from __future__ import annotations

from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_safe

from bible.access import EVERYBODY, MemberRequest, member
from bible.colour.chart_audit import Kind, audit
from bible.colour.tints import INK_NAMES
from bible.forms.notation import STYLE_WORDS, AuditForm, as_text
from bible.limits import FITS, limited
from bible.lists import audit_table
from bible.models import Series
from bible.tables_out import answer, wanted

FINDINGS_SHOWN = 300
"""Findings listed; a list beyond this means that the wrong file was taken or one cause runs through it."""

KIND_WORDS = {
    Kind.LABEL_DIFFERS: "label says another tint",
    Kind.LABEL_UNREADABLE: "label cannot be read",
    Kind.DUPLICATE_TINT: "same tint twice",
    Kind.DUPLICATE_LABEL: "same label twice",
    Kind.GAP: "missing from the steps",
    Kind.OFF_GRID: "beside the steps",
    Kind.OVER_INK_LIMIT: "over the ink limit",
}


@require_safe
@member(*EVERYBODY)
def notation(request: MemberRequest, series: Series) -> HttpResponse:
    """The letters, figures, aliases and chart of the series."""
    now = series.notation
    context = {
        "series": series,
        "letters": [(INK_NAMES[ink], now.letter_of[ink]) for ink in now.order],
        "steps": now.steps,
        "aliases": now.aliases,
        "order": ", ".join(INK_NAMES[ink] for ink in now.order),
        "style": STYLE_WORDS[now.style],
        "paper": now.paper,
        "examples": series.chart.tints[1 :: max(len(series.chart) // 6, 1)][:6],
    }
    return render(request, "bible/notation.html", context)


@member(*EVERYBODY)
@limited(FITS)
def chart_audit(request: MemberRequest, series: Series) -> HttpResponseBase:
    """Look a typed or uploaded chart through. Nothing is saved; a lead may then make it the house chart.

    The findings have no address of their own: whoever takes them along sends the chart again.
    """
    form = AuditForm(request.POST, request.FILES) if request.method == "POST" else AuditForm()
    context: dict[str, object] = {"series": series, "form": form}
    if form.is_valid():
        table = form.cleaned_data["chart_table"]
        found = audit(table.swatches, series.notation, form.cleaned_data["ink_limit"])
        if wanted(request):
            return answer(request, series, audit_table(series, table, found))
        context |= {
            "table": table,
            "audit": found,
            "findings": found.findings[:FINDINGS_SHOWN],
            "kinds": [(words, len(found.of_kind(kind))) for kind, words in KIND_WORDS.items() if found.of_kind(kind)],
            "steps": [(INK_NAMES[ink], levels) for ink, levels in found.steps.items()],
            "text": as_text(table),
        }
    return render(request, "bible/chart_audit.html", context, status=422 if form.errors else 200)
