"""The continuity report: a page, a PDF, and the marks behind each of its numbers."""

from __future__ import annotations

import io
from typing import Any, Self
from urllib.parse import urlencode

from django import forms
from django.http import HttpResponse, HttpResponseBase, QueryDict
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from bible.access import EVERYBODY, MemberRequest, member
from bible.colour.tints import Tint
from bible.limits import PAPER, limited
from bible.models import Series
from bible.presses import condition
from bible.tables_out import answer, wanted
from guides.handoff.sheets import file_name
from guides.lists import differing_table, report_table
from guides.models import MarkQuerySet
from guides.palettes.forms import EVERY_ISSUE, RunField
from guides.report.counting import make_report, marks_of

MARKS_A_PAGE = 100
LONG, NEWEST = 100, 24
"""Of more than so many issues the report opens with the newest ones: what drifts now. Decades are counted, which
takes a second, when somebody asks for them."""
NOBODY = "nobody"


class RunForm(forms.Form):
    """Which issues the report is about."""

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["issues"] = RunField(
            series,
            required=False,
            label="Issues",
        )

    @classmethod
    def asked(cls, series: Series, said: QueryDict) -> Self:
        """With what was asked, empty being every issue; where nothing was asked, with the newest issues."""
        if "issues" in said or series.issues.active().count() <= LONG:
            return cls(series, said)
        first = series.issues.get(position=series.issues.newest_from(NEWEST))
        return cls(series, {"issues": f"{first.number}-"})


class TintField(forms.Field):
    """A tint as its packed number, as links carry it."""

    def clean(self, value: Any) -> Tint | None:
        if not value:
            return None
        try:
            return Tint.from_packed(int(value))
        except ValueError as error:
            raise forms.ValidationError("This is no tint.") from error


class BehindForm(RunForm):
    """Which differing marks: what was written, what is locked, whose, of which subject."""

    wrote = TintField(required=False)
    locked = TintField(required=False)
    colourist = forms.CharField(required=False)

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        super().__init__(series, *args, **kwargs)
        self.fields["subject"] = forms.ModelChoiceField(series.subjects.all(), required=False)
        people = series.guides.exclude(colourist=None).order_by().values_list("colourist", flat=True).distinct()
        keys = [(str(key), str(key)) for key in people]
        self.fields["colourist"] = forms.ChoiceField(choices=[(NOBODY, NOBODY), *keys], required=False)

    def marks(self, series: Series) -> MarkQuerySet:
        data = self.cleaned_data
        found = marks_of(series, data["issues"]).differing()
        if data["wrote"]:
            found = found.filter(tint=data["wrote"])
        if data["locked"]:
            found = found.filter(expected=data["locked"])
        if data["subject"]:
            found = found.of_subject(data["subject"].pk)
        if data["colourist"]:
            found = found.filter(guide__colourist=None if data["colourist"] == NOBODY else int(data["colourist"]))
        return found


@require_safe
@member(*EVERYBODY)
def report(request: MemberRequest, series: Series) -> HttpResponseBase:
    """The report of a run of issues; one that cannot be read is told, and all issues are shown."""
    form = RunForm.asked(series, request.GET)
    run = form.cleaned_data["issues"] if form.is_valid() else EVERY_ISSUE
    if wanted(request) and form.is_valid():
        found = make_report(series, run, condition(series), whole=True)
        return answer(request, series, report_table(found, request.GET.get("list", "")))
    asked = {"issues": form.data["issues"]} if form.data.get("issues") and form.is_valid() else {}
    context = {
        "form": form,
        "report": make_report(series, run, condition(series)),
        "query": urlencode(asked),
        "newest": NEWEST if "issues" not in request.GET and asked else None,
    }
    template = "guides/_report.html" if request.htmx.target == "report" else "guides/report.html"
    return render(request, template, context | {"series": series}, status=422 if form.errors else 200)


@require_safe
@member(*EVERYBODY)
@limited(PAPER, "GET")
def report_pdf(request: MemberRequest, series: Series) -> HttpResponse:
    """The report as a PDF; a run that cannot be read is refused in words."""
    from guides.report.pdf import write_report

    form = RunForm(series, request.GET)
    if not form.is_valid():
        return HttpResponse(
            " ".join(map(str, form.errors["issues"])), content_type="text/plain; charset=utf-8", status=422
        )
    run, out = form.cleaned_data["issues"], io.BytesIO()
    write_report(make_report(series, run, condition(series)), timezone.now(), out)
    answer = HttpResponse(out.getvalue(), content_type="application/pdf")
    name = file_name(f"{series.slug} continuity {run}")
    answer["Content-Disposition"] = f'attachment; filename="{name}.pdf"'
    return answer


@require_safe
@member(*EVERYBODY)
def report_marks(request: MemberRequest, series: Series) -> HttpResponseBase:
    """The marks behind one number of the report, in running order."""
    form = BehindForm(series, request.GET)
    context: dict[str, Any] = {"series": series, "form": form}
    if form.is_valid():
        found = form.marks(series)
        if wanted(request):
            return answer(request, series, differing_table(series, found))
        context |= {"total": found.count(), "marks": found.in_order().with_names()[:MARKS_A_PAGE]}
    return render(request, "guides/report_marks.html", context, status=422 if form.errors else 200)
