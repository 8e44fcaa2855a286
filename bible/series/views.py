"""A person's series, what can be set in one, and its press conditions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.db import IntegrityError, transaction
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from bible.colour import press as shipped
from bible.colour import pressfile
from bible.colour.press import PressCondition
from bible.colour.tints import INK_NAMES, INKS, Tint, as_array
from bible.models import Series
from bible.models.permissions import Permission
from bible.series.edits import StaleEdit, fingerprint, save_edit
from bible.series.forms import (
    ChoosePressForm,
    EditIssueForm,
    EditSeriesForm,
    PressUploadForm,
    SeenMixin,
    SeriesForm,
    mark_as_seen,
)
from bible.series.presses import available, condition
from bible.series.refusals import Refused
from bible.series.services import start_series
from bible.web.access import MemberRequest, SignedInRequest, anybody, member
from bible.web.limits import FITS, limited
from bible.web.methods import FORM, POST, SAFE


@require_safe
@anybody
def home(request: SignedInRequest) -> HttpResponse:
    """All series this person belongs to; with a single one, that one."""
    mine = Series.objects.visible_to(request.user)
    if len(mine) == 1 and "all" not in request.GET:
        return redirect(mine[0])
    return render(request, "bible/series/home.html", {"all_series": mine})


@require_http_methods(["GET", "HEAD", "POST"])
@anybody
def new_series(request: SignedInRequest) -> HttpResponse:
    form = SeriesForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        return redirect(start_series(series=form.save(commit=False), lead=request.user))
    context = {"form": form, "title": "Start a series", "save": "Start it"}
    return render(request, "bible/series/form.html", context, status=422 if form.errors else 200)


SOLIDS = (Tint(), *(Tint(**{ink: 100}) for ink in INKS))
HALVES = as_array(Tint(**{ink: 50}) for ink in INKS)


@dataclass(frozen=True, slots=True)
class Solid:
    name: str
    fill: str
    lab: tuple[float, ...]
    gain: float | None


@dataclass(frozen=True, slots=True)
class ConditionRow:
    """A condition with its figures: Lab of paper and solids, and the dot gain of each ink at 50 %."""

    condition: PressCondition
    solids: tuple[Solid, ...]
    own: bool


def _rows(series: Series) -> list[ConditionRow]:
    """Those that ship and those the series brought, in one query."""
    ready = [(shipped.load(info.name), False) for info in shipped.available()]
    ready += [(pressfile.loads(row.text), True) for row in series.press_uploads.order_by("title")]
    return [ConditionRow(press, _solids(press), own) for press, own in ready]


def _solids(press: PressCondition) -> tuple[Solid, ...]:
    lab = press.lab(as_array(SOLIDS)).tolist()
    gain = press.effective_coverage(HALVES).gain.diagonal().tolist()
    names = ("paper", *(f"solid {INK_NAMES[ink]}" for ink in INKS))
    rows = zip(names, press.hexes(SOLIDS), lab, (None, *gain), strict=True)
    return tuple(Solid(name, fill, tuple(values), points) for name, fill, values, points in rows)


def _page(request: MemberRequest, series: Series, form: ChoosePressForm) -> HttpResponse:
    was = next((info for info in available(series) if info.name == request.GET.get("was")), None)
    context = {"series": series, "form": form, "rows": _rows(series), "press": condition(series)}
    context["was"] = was if was and was.name != series.press else None
    return render(request, "bible/series/presses.html", context, status=422 if form.errors else 200)


@member(Permission.READ, SAFE)
def presses(request: MemberRequest, series: Series) -> HttpResponse:
    """Every condition at hand, with its source and its figures."""
    return _page(
        request,
        series,
        ChoosePressForm(series, initial={"press": series.press, "seen": fingerprint(series, ["press"])}),
    )


@member(Permission.SET_UP, POST)
def choose_press(request: MemberRequest, series: Series) -> HttpResponse:
    """Make a condition the series' own; every swatch of the series follows."""
    form = ChoosePressForm(series, request.POST)
    if not form.is_valid():
        return _page(request, series, form)
    stored = Series.objects.get(pk=series.pk)
    before = stored.press
    stored.press = form.cleaned_data["press"]
    try:
        save_edit(row=stored, fields=["press"], seen=form.cleaned_data["seen"], by=request.user)
    except StaleEdit as stale:
        title = condition(stale.stored).title
        form.add_error(None, f"{stale} It is {title} now; save again if yours should replace it.")
        mark_as_seen(form, fingerprint(stale.stored, ["press"]))
        return _page(request, series, form)
    series.press = stored.press
    messages.success(request, f"{series} is now shown as printed on {condition(series).title}.")
    return redirect(f"{reverse('presses', args=[series.slug])}?{urlencode({'was': before})}")


@member(Permission.SET_UP, FORM)
@limited(FITS)
def new_press(request: MemberRequest, series: Series) -> HttpResponse:
    """Bring a condition: fitted from an uploaded file of measured patches, saved only when all of it is sound."""
    sent = (request.POST, request.FILES) if request.method == "POST" else ()
    form = PressUploadForm(series, *sent)
    if form.is_valid():
        try:
            with transaction.atomic():
                form.upload(by=request.user).save()
        except IntegrityError:
            form.add_error("name", "Somebody brought a condition of this name meanwhile.")
        else:
            messages.success(request, f"{form.cleaned_data['title']} is here. Choose it to print the series on it.")
            return redirect("presses", series.slug)
    context = {"series": series, "form": form}
    return render(request, "bible/series/new_press.html", context, status=422 if form.errors else 200)


def edit_page(request: MemberRequest, series: Series, form: SeenMixin, title: str, back: Any) -> HttpResponse:
    """Save, or show the form with what was typed and, where somebody was faster, with what they saved."""
    if form.is_valid():
        try:
            save_edit(by=request.user, **form.edit)
            messages.success(request, "Saved.")
            return redirect(back)
        except StaleEdit as stale:
            form.show(stale)
        except Refused as refusal:
            form.add_error(None, str(refusal))
    context = {"series": series, "form": form, "title": title, "back": back.get_absolute_url()}
    context["issues"] = series.issues.active().in_order()
    return render(request, "bible/series/form.html", context, status=422 if form.errors else 200)


def posted(request: MemberRequest) -> Any:
    return request.POST if request.method == "POST" else None


@member(Permission.KEEP_ISSUES, FORM)
def edit_issue(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    issue = get_object_or_404(series.issues.select_related("series"), pk=pk)
    title = f"Edit {issue}"
    return edit_page(request, series, EditIssueForm(posted(request), instance=issue), title, issue)


@member(Permission.SET_UP, FORM)
def series_settings(request: MemberRequest, series: Series) -> HttpResponse:
    stored = Series.objects.get(pk=series.pk)  # the form writes into its own copy: the page keeps the title there is
    return edit_page(request, series, EditSeriesForm(posted(request), instance=stored), f"Rename {series}", series)
