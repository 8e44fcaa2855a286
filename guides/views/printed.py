"""The guide as the press would print it, beside the painted one."""

from __future__ import annotations

from django.core.files.storage import default_storage
from django.http import FileResponse, HttpResponse, HttpResponseBase, HttpResponseNotModified
from django.shortcuts import get_object_or_404, render
from django.utils.http import parse_etags, quote_etag
from django.views.decorators.http import require_safe

from bible.access import EVERYBODY, MemberRequest, member
from bible.models import Series
from guides.models import Guide, Mark
from guides.prints import print_of


def _guide(series: Series, pk: int) -> Guide:
    return get_object_or_404(Guide.objects.select_related("series", "issue"), series=series, pk=pk)


@require_safe
@member(*EVERYBODY)
def picture(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """The printed page as JPEG; it changes with every mark, so browsers ask again and mostly hear “unchanged”."""
    made = print_of(_guide(series, pk))
    etag = quote_etag(made.key)
    if etag in parse_etags(request.headers.get("If-None-Match", "")):
        response: HttpResponseBase = HttpResponseNotModified()
    else:
        response = FileResponse(default_storage.open(made.name), content_type="image/jpeg")
    response["ETag"] = etag
    response["Cache-Control"] = "private, no-cache"
    response["X-Content-Type-Options"] = "nosniff"
    return response


@member(*EVERYBODY)
def as_printed(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Painted and printed side by side, what each ink covers, and which areas sink into their neighbours."""
    found = _guide(series, pk)
    made = print_of(found)
    marks = {mark.number: mark for mark in Mark.objects.filter(guide=found, deleted_at=None).with_names()}
    for mark in marks.values():
        mark.series, mark.guide = series, found
    pairs = [(marks[one.first], marks[one.second], one) for one in made.sinking]
    context = {"series": series, "guide": found, "made": made, "pairs": pairs}
    template = "guides/_print_facts.html" if request.htmx else "guides/as_printed.html"
    return render(request, template, context)
