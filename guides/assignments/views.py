"""Who does which page by when: of one issue, of the series, and what to read for some pages."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from bible.exports.tables import answer, wanted
from bible.models import Issue, Series
from bible.models.naming import name_of
from bible.models.permissions import Permission
from bible.series.refusals import Refused
from bible.web.access import MemberRequest, member, refuse_unless
from bible.web.limits import PAPER, limited
from bible.web.methods import FORM, POST, SAFE
from bible.web.names import counted
from guides.assignments import services
from guides.assignments.exports import assignments_table
from guides.assignments.forms import AssignmentsForm, ChangeAssignmentsForm, GivePagesForm
from guides.assignments.labels import pages_in_words, read_pages
from guides.assignments.queries import PageRow, by_person, pages_of, waiting
from guides.assignments.reading import PagesToRead, to_read
from guides.core.labels import file_name
from guides.models import Guide
from guides.paper.sizes import size_asked


@member(Permission.DISCUSS, SAFE)
def assignments(request: MemberRequest, series: Series) -> HttpResponseBase:
    """What waits for whom over the issues in work, and what is late."""
    form, every = AssignmentsForm(series, request.GET), waiting(series)
    rows = form.chosen(every) if form.is_valid() else []
    if wanted(request) and form.is_valid():
        return answer(request, series, assignments_table(series, rows))
    context = {
        "series": series,
        "form": form,
        "rows": rows,
        "people": by_person(every),
        "late": sum(page.is_late for page in every),
        "asked": bool(request.GET),
    }
    return render(request, "guides/assignments/assignments.html", context, status=422 if form.errors else 200)


def _issue(series: Series, pk: int) -> Issue:
    return get_object_or_404(series.issues.select_related("series"), pk=pk)


@member(Permission.DISCUSS, FORM)
def issue_assignments(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """The pages of an issue with who has them; sent, the form gives pages."""
    issue = _issue(series, pk)
    if request.method != "POST":
        if wanted(request):
            given = [row.given for row in _rows(issue) if row.given]
            return answer(request, series, assignments_table(series, given, f"issue-{issue.pk}-assignments"))
        return _page(request, issue, GivePagesForm(issue))
    refuse_unless(request, Permission.ASSIGN)
    form = GivePagesForm(issue, request.POST)
    return _give(request, form) or _page(request, issue, form)


def _give(request: MemberRequest, form: GivePagesForm) -> HttpResponse | None:
    """Back to the page once the pages are given; None where the form has something to say."""
    if not form.is_valid():
        return None
    try:
        made = services.give_pages(issue=form.issue, by=request.user, **form.cleaned_data)
    except services.OthersPages as others:
        form.data = dict(form.data.items()) | {"seen": others.seen}
        form.add_error(None, str(others))
        return None
    except Refused as refusal:
        form.add_error(None, str(refusal))
        return None
    messages.success(request, f"{counted(len(made), 'page')} given to {name_of(form.cleaned_data['colourist'])}.")
    return redirect("issue-assignments", form.issue.series.slug, form.issue.pk)


def _rows(issue: Issue) -> list[PageRow]:
    return pages_of(issue, Guide.objects.filter(issue=issue).current().with_counts().select_related("series"))


def _page(
    request: MemberRequest,
    issue: Issue,
    give: GivePagesForm,
    change: ChangeAssignmentsForm | None = None,
    refusal: str = "",
) -> HttpResponse:
    context = _facts(request, issue) | {
        "give": give,
        "change": change or ChangeAssignmentsForm(issue),
        "chosen": set(request.POST.getlist("chosen")),
        "refusal": refusal,
    }
    status = 422 if give.errors or refusal else 200
    return render(request, "guides/assignments/issue_assignments.html", context, status=status)


def _facts(request: MemberRequest, issue: Issue) -> dict[str, Any]:
    """What the page says whatever is asked of it."""
    rows = _rows(issue)
    given = [row.given for row in rows if row.given]
    return {
        "series": issue.series,
        "issue": issue,
        "rows": rows,
        "people": by_person(given),
        "late": sum(page.is_late for page in given),
        "free": pages_in_words(row.label for row in rows if not row.given and not row.guide),
        "may_give": request.membership.may(Permission.ASSIGN) and not (issue.signed_off_at or issue.archived_at),
    }


@member(Permission.ASSIGN, POST)
def change_assignments(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Another person or another day for the pages chosen."""
    issue = _issue(series, pk)
    form = ChangeAssignmentsForm(issue, request.POST)
    if not form.is_valid():
        return _page(request, issue, GivePagesForm(issue), form, form.problems)
    try:
        rows = services.change_assignments(issue=issue, by=request.user, **form.said)
    except Refused as refusal:
        return _page(request, issue, GivePagesForm(issue), form, str(refusal))
    messages.success(request, f"{counted(len(rows), 'page')} changed.")
    return redirect("issue-assignments", series.slug, pk)


@member(Permission.ASSIGN, POST)
def unassign_pages(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The pages chosen are nobody's any more."""
    issue = _issue(series, pk)
    form = ChangeAssignmentsForm(issue, request.POST)
    try:
        if "chosen" in form.errors:
            raise Refused(form.problems)
        chosen = [assignment.pk for assignment in form.cleaned_data["chosen"]]
        rows = services.unassign_pages(issue=issue, chosen=chosen, by=request.user)
    except Refused as refusal:
        return _page(request, issue, GivePagesForm(issue), form, str(refusal))
    messages.success(request, f"{counted(len(rows), 'page')} taken back.")
    return redirect("issue-assignments", series.slug, pk)


def _asked(request: MemberRequest, issue: Issue) -> tuple[Sequence[str], str]:
    """The pages to read for: those asked for, else one's own, else all; and what is wrong with the question."""
    trouble = ""
    try:
        if pages := read_pages(request.GET.get("pages", "")[:400]):
            return pages, ""
    except Refused as refusal:
        trouble = str(refusal)
    own = issue.assignments.of_colourist(request.user).in_order().values_list("page", flat=True)
    return list(own) or [row.label for row in _rows(issue)], trouble


@member(Permission.DISCUSS, SAFE)
def to_read_page(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """What to read before one colours these pages."""
    issue = _issue(series, pk)
    pages, trouble = _asked(request, issue)
    context = {"series": series, "issue": issue, "sheet": to_read(issue, pages), "trouble": trouble}
    return render(request, "guides/assignments/to_read.html", context, status=422 if trouble else 200)


@member(Permission.DISCUSS, SAFE)
@limited(PAPER, "GET")
def to_read_pdf(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The same on paper; pages that cannot be read are refused, since paper outlives the page."""
    from guides.assignments.reading_pdf import write_to_read

    issue = _issue(series, pk)
    pages, trouble = _asked(request, issue)
    if trouble:
        return HttpResponse(trouble, content_type="text/plain; charset=utf-8", status=422)
    out, sheet = io.BytesIO(), to_read(issue, pages)
    write_to_read(sheet, timezone.now(), out, size_asked(request))
    made = HttpResponse(out.getvalue(), content_type="application/pdf")
    made["Content-Disposition"] = f'attachment; filename="{_name(sheet)}.pdf"'
    return made


def _name(sheet: PagesToRead) -> str:
    return file_name(f"{sheet.series.slug} {sheet.issue.number} to read {sheet.pages_words}")[:120]
