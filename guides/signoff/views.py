"""What is going out, what is still open in it, and the editor's word."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.db.models import Exists, OuterRef, QuerySet
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from bible.exports.tables import Table, answer, wanted
from bible.models import Issue, Series
from bible.models.permissions import Permission
from bible.series.refusals import Refused
from bible.web.access import MemberRequest, member
from bible.web.methods import POST, SAFE
from guides.core.fingerprint import fingerprint
from guides.models import Guide, IssueStep
from guides.signoff import services as deeds
from guides.signoff.exports import opens_table, points_table, steps_table
from guides.signoff.forms import PagesForm, WordsForm
from guides.signoff.queries import Points, points, points_of

STEPS_SHOWN = 12


@member(Permission.READ, SAFE)
def going_out(request: MemberRequest, series: Series) -> HttpResponseBase:
    """The issues in check with what is open in each, and what was signed or opened again lately."""
    if wanted(request):
        return answer(request, series, _table(series, request.GET.get("list", "")))
    context = {
        "series": series,
        "rows": _in_check(series),
        "steps": _steps(series)[:STEPS_SHOWN],
        "opens": _still_open(series)[:STEPS_SHOWN],
    }
    return render(request, "guides/signoff/going_out.html", context)


def _table(series: Series, which: str) -> Table:
    """One of the page's lists: ``steps`` for what happened lately, ``open``, else the issues in check."""
    match which:
        case "steps":
            return steps_table(series, _steps(series))
        case "open":
            return opens_table(series, _still_open(series))
        case _:
            return points_table(series, _in_check(series))


def _in_check(series: Series) -> list[Points]:
    return points(series, series.issues.active().in_check().in_order())


def _steps(series: Series) -> QuerySet[IssueStep]:
    return IssueStep.objects.filter(series=series).newest_first().select_related("issue")


def _still_open(series: Series) -> QuerySet[Issue]:
    """Open issues that have guides: what comes next."""
    pages = Guide.objects.filter(issue=OuterRef("pk")).current()
    rows = series.issues.active().filter(Exists(pages), in_check_at=None, signed_off_at=None)
    return rows.order_by("-position")


@member(Permission.READ, SAFE)
def issue_check(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    return _page(request, series, _issue(series, pk))


def _issue(series: Series, pk: int) -> Issue:
    return get_object_or_404(series.issues.select_related("series"), pk=pk)


def _page(
    request: MemberRequest, series: Series, issue: Issue, refusal: str = "", **forms: WordsForm | PagesForm
) -> HttpResponse:
    issue.refresh_from_db()
    what_is_open = points_of(series, issue)
    why_not = deeds.why_not(series, request.membership)
    words = forms.pop("words", WordsForm())
    # Asked for where they are needed; beside the buttons that need none the browser does not insist.
    words.fields["words"].required = not why_not and bool(issue.signed_off_at or what_is_open.open)
    context = _facts(request, series, issue) | {
        "points": what_is_open,
        "token": what_is_open.token(fingerprint(issue)),
        "why_not": why_not,
        "words": words,
        "refusal": refusal,
    }
    status = 422 if refusal or words.errors or any(form.errors for form in forms.values()) else 200
    return render(request, "guides/signoff/issue_check.html", context | forms, status=status)


def _facts(request: MemberRequest, series: Series, issue: Issue) -> dict[str, Any]:
    """What the page says whatever is asked of it."""
    return {
        "series": series,
        "issue": issue,
        "steps": issue.steps.newest_first(),
        "may_send": request.membership.may(Permission.SUBMIT),
        "may_set": request.membership.may(Permission.SIGN_OFF),
        "pages": PagesForm(initial={"own": issue.own_pages, "usual": series.usual_pages}),
        "address": reverse("hand-off-file", args=[series.slug, issue.pk, "csv"]),
    }


def _deed(
    request: MemberRequest, series: Series, pk: int, do: Callable[..., object], outcome: str, **more: object
) -> HttpResponse:
    """Do a deed with the words of the form; a refusal comes back with what was typed."""
    issue, form = _issue(series, pk), WordsForm(request.POST)
    if not form.is_valid():
        return _page(request, series, issue, words=form)
    try:
        do(issue=issue, by=request.user, words=form.cleaned_data["words"], **more)
    except deeds.WordsMissing as missing:
        form.add_error("words", str(missing))
        return _page(request, series, issue, words=form)
    except Refused as refusal:
        return _page(request, series, issue, str(refusal), words=form)
    messages.success(request, f"Issue {issue.number} is {outcome}.")
    return redirect("issue-check", series.slug, pk)


@member(Permission.SUBMIT, POST)
def put_in_check(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    return _deed(request, series, pk, deeds.put_in_check, "in check")


@member(Permission.SUBMIT, POST)
def withdraw(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    return _deed(request, series, pk, deeds.withdraw, "open: taken back from check")


@member(Permission.SIGN_OFF, POST)
def sign_off(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Sign exactly what was shown; where it moved meanwhile, show it anew."""
    return _deed(request, series, pk, deeds.sign_off, "signed off", seen=request.POST.get("shown", ""))


@member(Permission.SIGN_OFF, POST)
def reopen(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    return _deed(request, series, pk, deeds.reopen, "open again, and back in check")


@member(Permission.SIGN_OFF, POST)
def set_pages(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    issue, form = _issue(series, pk), PagesForm(request.POST)
    if not form.is_valid():
        return _page(request, series, issue, pages=form)
    deeds.set_pages(issue=issue, by=request.user, **form.cleaned_data)
    messages.success(request, "Saved how many pages are expected.")
    return redirect("issue-check", series.slug, pk)
