"""The press conditions of a series: what there is, which one it prints under, and bringing one's own."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib import messages
from django.db import IntegrityError, transaction
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from bible.access import EVERYBODY, LEADS, MemberRequest, member
from bible.colour import press as shipped
from bible.colour import pressfile
from bible.colour.press import PressCondition
from bible.colour.tints import INK_NAMES, INKS, Tint, as_array
from bible.forms import mark_as_seen
from bible.forms.press import ChoosePressForm, PressUploadForm
from bible.limits import FITS, limited
from bible.models import Series
from bible.presses import condition
from bible.services import StaleEdit, fingerprint, save_edit

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
    return [ConditionRow(one, _solids(one), own) for one, own in ready]


def _solids(one: PressCondition) -> tuple[Solid, ...]:
    lab = one.lab(as_array(SOLIDS)).tolist()
    gain = one.effective_coverage(HALVES).gain.diagonal().tolist()
    names = ("paper", *(f"solid {INK_NAMES[ink]}" for ink in INKS))
    rows = zip(names, one.hexes(SOLIDS), lab, (None, *gain), strict=True)
    return tuple(Solid(name, fill, tuple(values), points) for name, fill, values, points in rows)


def _page(request: MemberRequest, series: Series, form: ChoosePressForm) -> HttpResponse:
    context = {"series": series, "form": form, "rows": _rows(series), "press": condition(series)}
    return render(request, "bible/presses.html", context, status=422 if form.errors else 200)


@require_safe
@member(*EVERYBODY)
def presses(request: MemberRequest, series: Series) -> HttpResponse:
    """Every condition at hand, with its source and its figures."""
    return _page(
        request,
        series,
        ChoosePressForm(series, initial={"press": series.press, "seen": fingerprint(series, ["press"])}),
    )


@require_POST
@member(*LEADS)
def choose_press(request: MemberRequest, series: Series) -> HttpResponse:
    """Make a condition the series' own; every swatch of the series follows."""
    form = ChoosePressForm(series, request.POST)
    if not form.is_valid():
        return _page(request, series, form)
    stored = Series.objects.get(pk=series.pk)
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
    return redirect("presses", series.slug)


@member(*LEADS)
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
    return render(request, "bible/new_press.html", context, status=422 if form.errors else 200)
