"""Found codes as pictures and lists."""

from __future__ import annotations

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404

from bible.models import Series
from bible.models.permissions import Permission
from bible.web.access import MemberRequest, member
from bible.web.limits import PRINTS, limited
from bible.web.methods import SAFE
from guides.found.crops import crop_of
from guides.models import FoundCode


@member(Permission.READ, SAFE)
@limited(PRINTS, "GET")
def code_crop(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """A found code, enlarged, upright as it stands on the page."""
    found = get_object_or_404(FoundCode.objects.select_related("guide"), series=series, pk=pk)
    try:
        picture = crop_of(found)
    except OSError as error:
        raise Http404("The page's picture is missing.") from error
    response = HttpResponse(picture, content_type="image/jpeg")
    response["Cache-Control"] = "private, no-cache"
    return response
