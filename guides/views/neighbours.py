"""Areas that sink into their neighbours, through the whole series."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from bible.access import EVERYBODY, LEADS, MARKERS, MemberRequest, member
from bible.limits import PAINT_READINGS, limited
from bible.models import Series
from bible.presses import condition
from bible.services import Refused
from bible.tables_out import answer, wanted
from guides.colour_sheets.crops import crop_around, crop_jpeg
from guides.keysets import cut, read_keyset
from guides.lists import sinking_table
from guides.models import SinkingPair
from guides.neighbours import look_at, pairs_of, take_pair_back, waiting, waive_pair
from guides.paint import NEWEST, pages_done, read_guides
from guides.views.waivers import ReasonForm

PAIRS_A_PAGE = 50

CROP_PIXELS = 360
"""Long side of a pair's picture: twice the size it is shown at."""


def _pair(series: Series, pk: int) -> SinkingPair:
    return get_object_or_404(SinkingPair.objects.filter(series=series).with_names(), pk=pk)


@require_safe
@member(*EVERYBODY)
def sinking(request: MemberRequest, series: Series) -> HttpResponseBase:
    """Open pairs in running order, or with ``?waived=1`` those that may stand; and the pages that wait for a look."""
    standing, waived = pairs_of(series), request.GET.get("waived") == "1"
    since = 0 if wanted(request) else series.issues.newest_from(NEWEST)
    found, pages = standing.waived() if waived else standing.open(), waiting(series, since=since)
    if wanted(request):
        return answer(request, series, sinking_table(series, found, pages, condition(series)))
    begins = read_keyset(request.GET.get("after", ""), 4) or (0, 0, 0, 0)
    shown, more = cut(found.after(begins).in_order().with_names(), PAIRS_A_PAGE)
    context = {"series": series, "pairs": shown, "more": more, "waiting": pages, "waived": waived}
    context |= {"total": standing.open().count(), "waived_total": standing.waived().count()}
    context |= {"newest": NEWEST if since else None}
    for pair in shown:
        pair.first.series = pair.second.series = series
    return render(request, "guides/sinking.html", context)


@require_POST
@member(*MARKERS)
@limited(PAINT_READINGS)
def look_for_sinking(request: MemberRequest, series: Series) -> HttpResponse:
    """Look at the pages that wait, as many as a request has time for."""
    done, left = read_guides(waiting(series, since=series.issues.newest_from(NEWEST)), read=look_at)
    messages.success(request, pages_done(done, left, "looked at"))
    return redirect("sinking", series.slug)


@require_safe
@member(*EVERYBODY)
def sinking_crop(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The place on the guide where two areas touch, as JPEG."""
    pair = _pair(series, pk)
    data = crop_jpeg(crop_around(pair.first.guide, pair.x, pair.y), CROP_PIXELS)
    if data is None:
        raise Http404("The guide's picture is missing.")
    answered = HttpResponse(data, content_type="image/jpeg")
    # A pair that is looked at again may touch elsewhere.
    answered["Cache-Control"] = "private, max-age=60"
    answered["X-Content-Type-Options"] = "nosniff"
    return answered


@member(*LEADS)
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
    return render(request, "guides/waive_sinking.html", context, status=422 if request.method == "POST" else 200)


@require_POST
@member(*LEADS)
def take_sinking_back(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    try:
        take_pair_back(pair=_pair(series, pk), by=request.user)
        messages.success(request, "The pair is open again.")
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("sinking", series.slug)
