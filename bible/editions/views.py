"""The editions of a series: listed, made, changed, put away."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from bible.editions.exports import editions_table
from bible.editions.forms import EditionForm
from bible.editions.services import archive_edition, save_edition, seen_of
from bible.exports.tables import answer, wanted
from bible.models import Edition, Series
from bible.models.permissions import Permission
from bible.series.edits import StaleEdit
from bible.series.forms import mark_as_seen
from bible.series.presses import condition
from bible.series.refusals import Refused
from bible.series.running_order import RunningOrder
from bible.series.views import posted
from bible.web.access import MemberRequest, member
from bible.web.methods import FORM, POST, SAFE


@member(Permission.READ, SAFE)
def editions(request: MemberRequest, series: Series) -> HttpResponseBase:
    listed = series.editions.in_order().prefetch_related("collected")
    if wanted(request):
        return answer(request, series, editions_table(series, listed.active()))
    order = RunningOrder.of(series)
    rows = [
        (
            edition,
            condition(series, edition.press).title,
            order.runs({row.issue_id for row in edition.collected.all()}),
        )
        for edition in listed
    ]
    return render(request, "bible/editions/editions.html", {"series": series, "rows": rows})


def _form_page(request: MemberRequest, series: Series, edition: Edition) -> HttpResponse:
    """Save, or show the form with what was typed."""
    title = f"Edit {edition}" if edition.pk else "New edition"
    form = EditionForm(series, posted(request), instance=edition)
    if form.is_valid():
        try:
            save_edition(
                edition=edition, issues=form.cleaned_data["collects"], by=request.user, seen=form.cleaned_data["seen"]
            )
            messages.success(request, f"{edition} is saved.")
            return redirect(edition)
        except StaleEdit as stale:
            form.add_error(None, "Somebody changed this meanwhile. Save again if yours should replace it.")
            mark_as_seen(form, seen_of(stale.stored))
        except Refused as refusal:
            form.add_error(None, str(refusal))
    context = {"series": series, "form": form, "title": title, "back": reverse("editions", args=[series.slug])}
    context["issues"] = series.issues.active().in_order()
    return render(request, "bible/series/form.html", context, status=422 if form.errors else 200)


@member(Permission.LOCK, FORM)
def new_edition(request: MemberRequest, series: Series) -> HttpResponse:
    return _form_page(request, series, Edition(series=series))


@member(Permission.LOCK, FORM)
def edit_edition(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    return _form_page(request, series, get_object_or_404(series.editions, pk=pk))


@member(Permission.LOCK, POST)
def put_away(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Offer an edition no longer, or again."""
    edition = get_object_or_404(series.editions, pk=pk)
    archived = request.POST.get("archived") == "yes"
    archive_edition(edition=edition, archived=archived, by=request.user)
    messages.success(request, f"{edition} is {'put away; its codes stay' if archived else 'offered again'}.")
    return redirect("editions", series.slug)
