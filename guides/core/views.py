"""A guide's stored pictures, to members only."""

from __future__ import annotations

from django.conf import settings
from django.db.models.fields.files import FieldFile
from django.http import FileResponse, Http404, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404

from bible.models import Series
from bible.models.permissions import Permission
from bible.web.access import MemberRequest, member
from bible.web.methods import SAFE
from guides.models import Guide

PICTURE_TYPES = {".jpg": "image/jpeg", ".png": "image/png", ".tif": "image/tiff", ".webp": "image/webp"}
KEPT_BY_BROWSERS = "private, max-age=31536000, immutable"
"""A stored picture never changes: a new scan is a new revision with an address of its own."""


@member(Permission.READ, SAFE)
def picture(request: MemberRequest, series: Series, pk: int, kind: str) -> HttpResponseBase:
    """A guide's picture, to members only; the web server in front may do the sending."""
    guide = get_object_or_404(Guide, series=series, pk=pk)
    return stored_picture({"original": guide.original, "screen": guide.screen, "thumb": guide.thumb}[kind])


def stored_picture(file: FieldFile) -> HttpResponseBase:
    """A stored picture, which never changes. Raises ``Http404`` where its file is missing or was never there."""
    if not file:
        raise Http404("There is no such picture.")
    suffix = "." + str(file.name).rsplit(".", 1)[-1]
    if settings.SENDFILE_PREFIX:
        response: HttpResponseBase = HttpResponse()
        response["X-Accel-Redirect"] = f"{settings.SENDFILE_PREFIX}/{file.name}"
    else:
        try:
            response = FileResponse(file.open("rb"))
        except FileNotFoundError as error:
            raise Http404("The picture's file is missing.") from error
    response["Content-Type"] = PICTURE_TYPES.get(suffix, "application/octet-stream")
    response["Cache-Control"] = KEPT_BY_BROWSERS
    response["X-Content-Type-Options"] = "nosniff"
    return response
