"""A guide's stored pictures, to members only."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.db.models.fields.files import FieldFile
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase, HttpResponseNotModified
from django.shortcuts import get_object_or_404
from django.utils.http import parse_etags, quote_etag

from bible.models import Series
from bible.models.permissions import Permission
from bible.web.access import MemberRequest, member
from bible.web.digest import digest
from bible.web.methods import SAFE
from guides.core.crops import Crop, crop_jpeg
from guides.imaging.intake.formats import served_as
from guides.models import Guide

KEPT_AND_ASKED = "private, no-cache"
"""A stored picture never changes, since a new scan is a new revision with an address of its own: browsers keep it,
and ask each time whether its person still may see it. Who signs out or leaves a series sees it no more."""


@member(Permission.READ, SAFE)
def picture(request: MemberRequest, series: Series, pk: int, kind: str) -> HttpResponseBase:
    """A guide's picture, to members only; the web server in front may do the sending."""
    guide = get_object_or_404(Guide, series=series, pk=pk)
    return stored_picture(request, {"original": guide.original, "screen": guide.screen, "thumb": guide.thumb}[kind])


def unchanged(request: HttpRequest, state: str, make: Callable[[], HttpResponseBase]) -> HttpResponseBase:
    """The answer for a browser that may keep it and asks each time: 304 where it has what ``state`` names already."""
    etag = quote_etag(digest(state))
    known = etag in parse_etags(request.headers.get("If-None-Match", ""))
    response = HttpResponseNotModified() if known else make()
    response["ETag"] = etag
    response["Cache-Control"] = KEPT_AND_ASKED
    return response


def stored_picture(request: HttpRequest, file: FieldFile) -> HttpResponseBase:
    """A stored picture, which never changes. Raises ``Http404`` where its file is missing or was never there.

    Where the web server in front sends it, that one says its state and hears whether it is unchanged.
    """
    if not file:
        raise Http404("There is no such picture.")
    if settings.SENDFILE_PREFIX:
        sent = {"X-Accel-Redirect": f"{settings.SENDFILE_PREFIX}/{file.name}", "Cache-Control": KEPT_AND_ASKED}
        return HttpResponse(content_type=served_as(str(file.name)), headers=sent)
    return unchanged(request, str(file.name), lambda: _opened(file))


CROP_PIXELS = 900
"""Long side of a cut picture on a page, sharp on a screen of twice the usual density."""


def crop_picture(request: HttpRequest, crop: Crop | None, long_side: int = CROP_PIXELS) -> HttpResponseBase:
    """A piece of a page, cut when it is asked for by somebody who has it not: marks move and guides get revisions, so
    it may be another one tomorrow. Raises ``Http404`` where there is none, or its file is missing."""
    if crop is None:
        raise Http404("There is no picture of this.")
    edges = (crop.left, crop.top, crop.right, crop.bottom)
    return unchanged(request, f"{crop.of.screen.name} {edges} {long_side}", lambda: _cut(crop, long_side))


def _cut(crop: Crop, long_side: int) -> HttpResponse:
    data = crop_jpeg(crop, long_side)
    if data is None:
        raise Http404("There is no picture of this.")
    return HttpResponse(data, content_type="image/jpeg")


def _opened(file: FieldFile) -> HttpResponseBase:
    try:
        return FileResponse(file.open("rb"), headers={"Content-Type": served_as(str(file.name))})
    except FileNotFoundError as error:
        raise Http404("The picture's file is missing.") from error
