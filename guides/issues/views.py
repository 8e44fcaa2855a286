"""A series' front page, its issues, and one issue with its page guides."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.text import capfirst

from bible.activity.queries import latest_decisions
from bible.exports.tables import answer, wanted
from bible.models import Issue, Series
from bible.models.permissions import Permission
from bible.series.forms import AsOfForm, IssueForm, mark_as_seen
from bible.series.holding import hold_series
from bible.series.presses import condition, printed_on
from bible.series.refusals import Refused
from bible.series.running_order import AsOf, RunningOrder
from bible.series.services import add_issue, move_issue, place_in_order, standing_between
from bible.web.access import MemberRequest, member
from bible.web.addresses import before_key
from bible.web.methods import FORM, SAFE
from guides.core.confirm import Shown, carry_out
from guides.core.flags import flags_of
from guides.core.impact import rehearse
from guides.found.queries import with_found
from guides.issues.exports import issues_table, pages_table
from guides.issues.forms import MoveIssueForm
from guides.issues.queries import today
from guides.issues.searching import search
from guides.models import MOST_COUNTED, Guide, Mark, PaintReading, Proof
from guides.uploads.carry_views import waiting

NEWEST_SHOWN = 8
ISSUES_A_PAGE = 300
"""Twenty-five years of a monthly: of more issues the list shows the newest first."""


@member(Permission.READ, SAFE)
def desk(request: MemberRequest, series: Series) -> HttpResponse:
    """What is open now: flags by kind, the first of them, the latest issues; the look-up for who only reads."""
    marks = Mark.objects.filter(series=series)
    kinds = marks.open().newest_kind_counts()
    newest = list(series.issues.active().order_by("-position")[:NEWEST_SHOWN])
    context = {
        "series": series,
        "kinds": {kind: count for kind, count in kinds.items() if count},
        "open_flags": (open_flags := sum(kinds.values())),
        "of_newest": MOST_COUNTED if open_flags > MOST_COUNTED else 0,
        "marked": marks.live().exists(),
        "waived_flags": marks.waived().count_to_most(),
        "paint_disagrees": PaintReading.objects.filter(series=series).disagreeing().count(),
        "issue_rows": _issue_rows(series, newest),
        "people": series.memberships.by_role(),
        "today": today(request.membership),
    }
    return render(request, "guides/issues/desk.html", context | _latest(request, series))


def _latest(request: MemberRequest, series: Series) -> dict[str, object]:
    """The newest open flags with what was noted beside them; those on one's own
    pages for who marks and locks not, those that go out next for who signs."""
    may, flagged = request.membership.may, Mark.objects.filter(series=series).open()
    if not may(Permission.DISCUSS):
        decided = latest_decisions(request.membership, NEWEST_SHOWN)
        return {"only_reads": True, "decided": decided, "running_order": RunningOrder.of(series)}
    first, shown = "", flagged
    if may(Permission.SIGN_OFF) and not may(Permission.MARK):
        unsigned = series.issues.active().filter(signed_off_at=None)
        first, shown = "in what goes out next", flagged.filter(position__in=unsigned.values("position"))
    elif not may(Permission.LOCK):
        first, shown = "on my pages", flagged.on_pages_of(request.user)
    latest = shown.newest_first().with_names().with_notes(request.membership)
    return {"own_alone": first, "latest_flags": flags_of(latest[:NEWEST_SHOWN], condition(series))}


@member(Permission.READ, SAFE)
def search_all(request: MemberRequest, series: Series) -> HttpResponse:
    """One search over everything: in the bar as one types, or as a page."""
    form = AsOfForm(request.GET)
    form.is_valid()
    words = form.cleaned_data.get("q", "")
    as_of = AsOf.of(series, "", request.edition)
    context = {"series": series, "form": form, "words": words, "as_of": as_of}
    context["finds"] = search(series, words, as_of.position, as_of.edition)
    piece = "_search" if request.htmx.target == "search-finds" else "search"
    return render(request, f"guides/issues/{piece}.html", context, status=422 if form.errors else 200)


def _issue_rows(series: Series, issues: list[Issue]) -> list[dict[str, object]]:
    """Each of the newest issues with its numbers of current guides and open flags, in two queries whatever their
    number."""
    since = issues[-1].position if issues else 0
    flags = Mark.objects.filter(series=series).within(since=since).open().counts_by_position()
    guides = Guide.objects.filter(series=series, issue__position__gte=since).current().counts_by_issue()
    address = before_key("issue", series)
    return [
        {
            "issue": issue,
            "address": f"{address}{issue.pk}/",
            "guides": guides.get(issue.pk, 0),
            "flags": flags.get(issue.position, 0),
        }
        for issue in issues
    ]


@member(Permission.READ, SAFE)
def issues(request: MemberRequest, series: Series) -> HttpResponseBase:
    """The newest issues of a series of decades, and all of them where somebody asks."""
    every = series.issues.active().order_by("-position")
    if wanted(request):
        return answer(request, series, issues_table(series, _issue_rows(series, list(every))))
    shown = list(every if "all" in request.GET else every[:ISSUES_A_PAGE])
    total = every.count() if len(shown) == ISSUES_A_PAGE else len(shown)
    context = {"series": series, "issue_rows": _issue_rows(series, shown), "total": total}
    return render(request, "guides/issues/issues.html", context | {"more": total > len(shown)})


@member(Permission.READ, SAFE)
def issue(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """Its pages and its open flags; what is taken along are the pages (the flags have a list of their own)."""
    issue = get_object_or_404(series.issues, pk=pk)
    guides = Guide.objects.filter(issue=issue).current().with_counts().in_order()
    guides = with_found(guides.select_related("series", "colourist"))
    if wanted(request):
        return answer(request, series, pages_table(series, issue, guides))
    context = {"series": series, "issue": issue, "guides": guides, "marks_wait_on": waiting(issue)}
    context |= _flags_of_issue(request, issue) | _proofs_of_issue(issue) | _neighbours(issue)
    return render(request, "guides/issues/issue.html", context)


def _flags_of_issue(request: MemberRequest, issue: Issue) -> dict[str, object]:
    marks = Mark.objects.filter(series=issue.series, position=issue.position)
    open_marks = marks.open().in_order().with_names().with_notes(request.membership)
    return {
        "flags": flags_of(open_marks, printed_on(issue)),
        "waived_flags": marks.waived().count(),
        "paint_disagrees": PaintReading.objects.filter(mark__guide__issue=issue).disagreeing().count(),
    }


def _proofs_of_issue(issue: Issue) -> dict[str, object]:
    proofs: list[Any] = list(
        Proof.objects.filter(guide__issue=issue).current().select_related("guide").with_counts().in_order()
    )
    return {
        "proofs": proofs,
        "proofs_open": sum(proof.undecided_count for proof in proofs),
        "proofs_faults": sum(proof.fault_count for proof in proofs),
    }


def _neighbours(issue: Issue) -> dict[str, object]:
    """The issues before and behind it in the running order."""
    active = issue.series.issues.active()
    return {
        "before": active.filter(position__lt=issue.position).order_by("-position").first(),
        "behind": active.filter(position__gt=issue.position).in_order().first(),
    }


@member(Permission.KEEP_ISSUES, FORM)
def new_issue(request: MemberRequest, series: Series) -> HttpResponse:
    form = IssueForm(series, request.POST if request.method == "POST" else None)
    if form.is_valid():
        try:
            made = add_issue(series=series, by=request.user, **form.cleaned_data)
            return redirect("issue", series.slug, made.pk)
        except Refused as refusal:
            form.add_error("after", str(refusal))
    context = {
        "series": series,
        "form": form,
        "title": "New issue",
        "save": "Add it",
        "back": reverse("issues", args=[series.slug]),
        "issues": series.issues.suggested(),
    }
    return render(request, "bible/series/form.html", context, status=422 if form.errors else 200)


@member(Permission.ORDER_ISSUES, FORM)
def move(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Put an issue elsewhere in the running order, once it has been seen which flags that opens and closes."""
    issue = get_object_or_404(series.issues.select_related("series"), pk=pk)
    data = request.POST if request.method == "POST" else None
    form = MoveIssueForm(issue, data, initial={"seen": place_in_order(issue)} | _initial_place(issue))
    shown: Shown | None = None
    if form.is_valid():
        try:
            shown = _move(request, issue, form)
            if shown is None:
                messages.success(request, f"{capfirst(str(issue))} is moved.")
                return redirect(issue)
        except Refused as refusal:
            form.add_error(None, str(refusal))
            mark_as_seen(form, place_in_order(issue))
    return _move_page(request, series, issue, form, shown)


def _move_page(
    request: MemberRequest, series: Series, issue: Issue, form: MoveIssueForm, shown: Shown | None
) -> HttpResponse:
    before, behind = standing_between(issue)
    context = {
        "series": series,
        "issue": issue,
        "form": form,
        "shown": shown,
        "before": before,
        "behind": behind,
        "issues": series.issues.suggested(),
    }
    return render(request, "guides/issues/move_issue.html", context, status=422 if form.errors or shown else 200)


def _initial_place(issue: Issue) -> dict[str, str]:
    before, _ = standing_between(issue)
    return {"after": before.number if before else ""}


def _move(request: MemberRequest, issue: Issue, form: MoveIssueForm) -> Shown | None:
    move = {**form.cleaned_data, "by": request.user}

    def moving() -> None:
        move_issue(issue=Issue.objects.select_related("series").get(pk=issue.pk), **move)

    return carry_out(
        request, lambda: rehearse(issue.series, moving), moving, hold=lambda: hold_series(issue.series_id)
    )
