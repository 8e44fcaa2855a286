"""A guide as it would print: the page, its plates, and areas that sink into their neighbours."""

from __future__ import annotations

from django.contrib import messages
from django.core.files.storage import default_storage
from django.http import FileResponse, Http404, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render

from bible.colour.tints import INK_NAMES
from bible.exports.tables import answer, wanted
from bible.models import Series
from bible.models.permissions import Permission
from bible.series.presses import condition
from bible.series.refusals import Refused
from bible.web.access import MemberRequest, member
from bible.web.limits import PAINT_READINGS, PRINTS, limited
from bible.web.methods import FORM, POST, SAFE
from bible.web.names import counted
from guides.core.crops import crop_around
from guides.core.forms import ReasonForm
from guides.core.keysets import cut, read_keyset
from guides.core.views import crop_picture, unchanged
from guides.models import Guide, Mark, SinkingPair
from guides.paint.services import NEWEST
from guides.preview.exports import sinking_table
from guides.preview.plates import LAID_DOWN, PLATES, SINGLE, STACKED, plate_of
from guides.preview.prints import print_of
from guides.preview.services import pairs_of, remove_pair_waiver, waiting, waive_pair
from guides.preview.tasks import ask_for_look


def _guide(series: Series, pk: int) -> Guide:
    return get_object_or_404(Guide.objects.select_related("series", "issue"), series=series, pk=pk)


@member(Permission.READ, SAFE)
@limited(PRINTS, "GET")
def picture(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """The printed page as JPEG."""
    made = print_of(_guide(series, pk))
    return _kept_picture(request, made.key, made.name)


@member(Permission.READ, SAFE)
@limited(PRINTS, "GET")
def plate_picture(request: MemberRequest, series: Series, pk: int, inks: str) -> HttpResponseBase:
    """A plate, or the plates laid down so far, as JPEG."""
    guide = _guide(series, pk)
    if inks not in PLATES:
        raise Http404(f"there is no plate “{inks}”")
    made = plate_of(guide, PLATES[inks])
    return _kept_picture(request, f"{made.key}-{inks}", made.name)


@member(Permission.READ, SAFE)
def plates(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The page's plates, one at a time, to look into closely; ``?plate=`` names the inks."""
    guide = _guide(series, pk)
    plate = PLATES.get(request.GET.get("plate", LAID_DOWN[0]))
    if plate is None:
        raise Http404("there is no such plate")
    press = condition(guide.series, guide.issue.press)
    screens = [(INK_NAMES[ink], press.angles[ink]) for ink in plate.inks]
    context = {"series": series, "guide": guide, "plate": plate, "single": SINGLE, "stacked": STACKED}
    context |= {"screens": screens, "ruling": press.ruling_lpi}
    return render(request, "guides/preview/plates.html", context)


def _kept_picture(request: MemberRequest, key: str, name: str) -> HttpResponseBase:
    """It changes with every mark, so browsers ask again and mostly hear “unchanged”."""
    return unchanged(request, key, lambda: FileResponse(default_storage.open(name), content_type="image/jpeg"))


@member(Permission.READ, SAFE)
def as_printed(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Painted and printed side by side, what each ink covers, and which areas sink into their neighbours."""
    guide = _guide(series, pk)
    made = print_of(guide)
    marks = {mark.number: mark for mark in Mark.objects.filter(guide=guide, deleted_at=None).with_names()}
    for mark in marks.values():
        mark.series, mark.guide = series, guide
    pairs = [(marks[pair.first], marks[pair.second], pair) for pair in made.sinking]
    context = {"series": series, "guide": guide, "made": made, "pairs": pairs}
    template = "guides/preview/_print_facts.html" if request.htmx else "guides/preview/as_printed.html"
    return render(request, template, context)


PAIRS_A_PAGE = 50

CROP_PIXELS = 360
"""Long side of a pair's picture: twice the size it is shown at."""


def _pair(series: Series, pk: int) -> SinkingPair:
    return get_object_or_404(SinkingPair.objects.filter(series=series).with_names(), pk=pk)


@member(Permission.READ, SAFE)
def sinking(request: MemberRequest, series: Series) -> HttpResponseBase:
    """Open pairs in running order, or with ``?waived=1`` those that may stand; and the pages that wait for a look."""
    standing, waived = pairs_of(series), request.GET.get("waived") == "1"
    since = 0 if wanted(request) else series.issues.newest_from(NEWEST)
    pairs, pages = standing.waived() if waived else standing.open(), waiting(series, since=since)
    if wanted(request):
        return answer(request, series, sinking_table(series, pairs, pages, condition(series)))
    begins = read_keyset(request.GET.get("after", ""), 4) or (0, 0, 0, 0)
    shown, more = cut(pairs.after(begins).in_order().with_names(), PAIRS_A_PAGE)
    context = {"series": series, "pairs": shown, "more": more, "waiting": pages, "waived": waived}
    context |= {"total": standing.open().count(), "waived_total": standing.waived().count()}
    context |= {"newest": NEWEST if since else None}
    for pair in shown:
        pair.first.series = pair.second.series = series
    return render(request, "guides/preview/sinking.html", context)


@member(Permission.MARK, POST)
@limited(PAINT_READINGS)
def look_for_sinking(request: MemberRequest, series: Series) -> HttpResponse:
    """Have the pages that wait looked at in the background."""
    pages = waiting(series, since=series.issues.newest_from(NEWEST))
    for guide in pages:
        ask_for_look(guide=guide, by=request.user)
    message = f"{counted(len(pages), 'page')} will be looked at in the background; look again in a while."
    messages.success(request, message)
    return redirect("sinking", series.slug)


@member(Permission.READ, SAFE)
def sinking_crop(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """The place on the guide where two areas touch, as JPEG."""
    pair = _pair(series, pk)
    return crop_picture(request, crop_around(pair.first.guide, pair.x, pair.y), CROP_PIXELS)


@member(Permission.WAIVE, FORM)
def waive_sinking(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Say why a pair may stand."""
    pair, form = _pair(series, pk), ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            waive_pair(pair=pair, reason=form.cleaned_data["reason"], by=request.user)
            messages.success(request, f"Marks {pair.first.number} and {pair.second.number} may stand as they are.")
            return redirect("sinking", series.slug)
        except Refused as refusal:
            form.add_error(None, str(refusal))
    pair.first.series = pair.second.series = series
    context = {"series": series, "pair": pair, "form": form}
    return render(
        request, "guides/preview/waive_sinking.html", context, status=422 if request.method == "POST" else 200
    )


@member(Permission.WAIVE, POST)
def remove_sinking_waiver(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    try:
        remove_pair_waiver(pair=_pair(series, pk), by=request.user)
        messages.success(request, "The pair is open again.")
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("sinking", series.slug)
