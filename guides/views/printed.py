"""The guide as the press would print it, beside the painted one, and its plates."""

from __future__ import annotations

from django.core.files.storage import default_storage
from django.http import FileResponse, Http404, HttpResponse, HttpResponseBase, HttpResponseNotModified
from django.shortcuts import get_object_or_404, render
from django.utils.http import parse_etags, quote_etag
from django.views.decorators.http import require_safe

from bible.access import EVERYBODY, MemberRequest, member
from bible.colour.tints import INK_NAMES
from bible.limits import PRINTS, limited
from bible.models import Series
from bible.presses import condition
from guides.models import Guide, Mark
from guides.neighbours import keep, waits
from guides.plates import LAID_DOWN, PLATES, SINGLE, STACKED, plate_of
from guides.prints import print_of


def _guide(series: Series, pk: int) -> Guide:
    return get_object_or_404(Guide.objects.select_related("series", "issue"), series=series, pk=pk)


@require_safe
@member(*EVERYBODY)
@limited(PRINTS, "GET")
def picture(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """The printed page as JPEG."""
    made = print_of(_guide(series, pk))
    return _kept_picture(request, made.key, made.name)


@require_safe
@member(*EVERYBODY)
@limited(PRINTS, "GET")
def plate_picture(request: MemberRequest, series: Series, pk: int, inks: str) -> HttpResponseBase:
    """A plate, or the plates laid down so far, as JPEG."""
    found = _guide(series, pk)
    if inks not in PLATES:
        raise Http404(f"there is no plate “{inks}”")
    made = plate_of(found, PLATES[inks])
    return _kept_picture(request, f"{made.key}-{inks}", made.name)


@require_safe
@member(*EVERYBODY)
def plates(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The page's plates, one at a time, to look into closely; ``?plate=`` names the inks."""
    found = _guide(series, pk)
    plate = PLATES.get(request.GET.get("plate", LAID_DOWN[0]))
    if plate is None:
        raise Http404("there is no such plate")
    press = condition(series)
    screens = [(INK_NAMES[ink], press.angles[ink]) for ink in plate.inks]
    context = {"series": series, "guide": found, "plate": plate, "single": SINGLE, "stacked": STACKED}
    context |= {"screens": screens, "ruling": press.ruling_lpi}
    return render(request, "guides/plates.html", context)


def _kept_picture(request: MemberRequest, key: str, name: str) -> HttpResponseBase:
    """It changes with every mark, so browsers ask again and mostly hear “unchanged”."""
    etag = quote_etag(key)
    if etag in parse_etags(request.headers.get("If-None-Match", "")):
        response: HttpResponseBase = HttpResponseNotModified()
    else:
        response = FileResponse(default_storage.open(name), content_type="image/jpeg")
    response["ETag"] = etag
    response["Cache-Control"] = "private, no-cache"
    response["X-Content-Type-Options"] = "nosniff"
    return response


@require_safe
@member(*EVERYBODY)
def as_printed(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Painted and printed side by side, what each ink covers, and which areas sink into their neighbours."""
    found, press = _guide(series, pk), condition(series)
    made = print_of(found)
    marks = {mark.number: mark for mark in Mark.objects.filter(guide=found, deleted_at=None).with_names()}
    if waits(found, press):
        keep(guide=found, marks=marks.values(), found=made.sinking, press=press)
    for mark in marks.values():
        mark.series, mark.guide = series, found
    pairs = [(marks[one.first], marks[one.second], one) for one in made.sinking]
    context = {"series": series, "guide": found, "made": made, "pairs": pairs}
    template = "guides/_print_facts.html" if request.htmx else "guides/as_printed.html"
    return render(request, template, context)
