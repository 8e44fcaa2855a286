"""The continuity report: a page, a PDF, and the marks behind each of its numbers."""

from __future__ import annotations

import io
from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.utils import timezone

from bible.exports.tables import answer, wanted
from bible.models import Series
from bible.models.permissions import Permission
from bible.series.presses import condition
from bible.web.access import MemberRequest, member
from bible.web.limits import PAPER, limited
from bible.web.methods import SAFE
from guides.core.in_editions import held_against
from guides.core.labels import file_name
from guides.core.runs import EVERY_ISSUE
from guides.paper.sizes import size_asked
from guides.report.exports import differing_table, report_table
from guides.report.forms import NEWEST, BehindForm, RunForm
from guides.report.queries import Report, make_report

MARKS_A_PAGE = 100


def _made(request: MemberRequest, series: Series, form: RunForm, *, whole: bool = False) -> Report:
    """The report that a form asks for, of the edition that the address names; all issues where it cannot be read."""
    run = form.cleaned_data["issues"] if form.is_valid() else EVERY_ISSUE
    press = condition(series, request.edition.press if request.edition else "")
    return make_report(series, run, press, request.edition, whole=whole)


@member(Permission.READ, SAFE)
def report(request: MemberRequest, series: Series) -> HttpResponseBase:
    """The report of a run of issues; one that cannot be read is told, and all issues are shown."""
    form = RunForm.asked(series, request.GET, request.edition)
    if wanted(request) and form.is_valid():
        whole = _made(request, series, form, whole=True)
        return answer(request, series, report_table(whole, request.GET.get("list", "")))
    asked = {"issues": form.data["issues"]} if form.data.get("issues") and form.is_valid() else {}
    asked |= {"edition": request.edition.name} if request.edition else {}
    context = {
        "form": form,
        "report": _made(request, series, form),
        "query": urlencode(asked),
        "within": f"&{urlencode(asked)}" if asked else "",
        "newest": NEWEST if "issues" not in request.GET and "issues" in asked else None,
    }
    template = "guides/report/_report.html" if request.htmx.target == "report" else "guides/report/report.html"
    return render(request, template, context | {"series": series}, status=422 if form.errors else 200)


@member(Permission.READ, SAFE)
@limited(PAPER, "GET")
def report_pdf(request: MemberRequest, series: Series) -> HttpResponse:
    """The report as a PDF; a run that cannot be read is refused in words."""
    from guides.report.pdf import write_report

    form = RunForm(series, request.GET)
    if not form.is_valid():
        return HttpResponse(
            " ".join(map(str, form.errors["issues"])), content_type="text/plain; charset=utf-8", status=422
        )
    made, out = _made(request, series, form), io.BytesIO()
    write_report(made, timezone.now(), out, size_asked(request))
    answer = HttpResponse(out.getvalue(), content_type="application/pdf")
    name = file_name(f"{series.slug} continuity {made.about}")
    answer["Content-Disposition"] = f'attachment; filename="{name}.pdf"'
    return answer


@member(Permission.READ, SAFE)
def report_marks(request: MemberRequest, series: Series) -> HttpResponseBase:
    """The marks behind one number of the report, in running order."""
    form = BehindForm(series, request.GET)
    query = urlencode({name: request.GET[name] for name in ("issues", "edition") if request.GET.get(name)})
    context: dict[str, Any] = {"series": series, "form": form, "query": query}
    if form.is_valid():
        marks = form.marks(series, request.edition)
        if wanted(request):
            return answer(request, series, differing_table(series, marks, request.edition))
        context |= {"total": marks.count(), "marks": list(marks.in_order().with_names()[:MARKS_A_PAGE])}
        held_against(context["marks"])
    return render(request, "guides/report/report_marks.html", context, status=422 if form.errors else 200)
