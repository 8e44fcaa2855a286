"""Found codes as pictures and lists, and how often they were right."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render

from bible.exports.tables import answer, wanted
from bible.models import Series
from bible.models.permissions import Permission
from bible.web.access import MemberRequest, member
from bible.web.limits import PRINTS, limited
from bible.web.methods import POST, SAFE
from bible.web.whole_numbers import whole_number
from guides.found.choices import with_carriers
from guides.found.crops import crop_of
from guides.found.exports import waiting_table
from guides.found.queries import tallies_by_colourist, tallies_by_issue
from guides.found.services import let_codes_in
from guides.found.tasks import pages_being_searched
from guides.models import FoundCode, FoundCodeQuerySet


@member(Permission.READ, SAFE)
@limited(PRINTS, "GET")
def code_crop(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """A found code, enlarged, upright as it stands on the page."""
    found_code = get_object_or_404(FoundCode.objects.select_related("guide"), series=series, pk=pk)
    try:
        picture = crop_of(found_code)
    except OSError as error:
        raise Http404("The page's picture is missing.") from error
    response = HttpResponse(picture, content_type="image/jpeg")
    response["Cache-Control"] = "private, no-cache"
    return response


CODES_A_PAGE = 25
"""Codes of a page of the list: what is unlike the bible stands first, and each is answered at its page's desk."""


@member(Permission.MARK, SAFE)
def series_codes(request: MemberRequest, series: Series) -> HttpResponseBase:
    """The codes of a series that wait for a yes, most unlike the bible first; for the lead also how often they were
    right."""
    waiting = FoundCode.objects.filter(series=series).waiting().with_names().most_unlike_first()
    if wanted(request):
        return answer(request, series, waiting_table(series, waiting))
    context = {"series": series, "code_count": waiting.count()} | _page_of_codes(request, series, waiting)
    context["searched_pages"] = pages_being_searched(series)
    context["unlike_count"] = FoundCode.objects.filter(series=series).waiting().unlike_the_bible().count()
    if request.membership.may(Permission.LOCK):
        context |= {"colourists": tallies_by_colourist(series), "issues": tallies_by_issue(series)}
    return render(request, "guides/found/series_codes.html", context)


def _page_of_codes(request: MemberRequest, series: Series, waiting: FoundCodeQuerySet) -> dict[str, object]:
    """The codes of one page of the list, and what leads to the next."""
    asked = whole_number(request.GET.get("after")) or 0  # no row has this key
    last = FoundCode.objects.filter(series=series, pk=asked).with_names().first()
    codes = list((waiting.after(last) if last else waiting)[: CODES_A_PAGE + 1])
    shown = codes[:CODES_A_PAGE]
    return {
        "codes": with_carriers(shown),
        "more": shown[-1].pk if len(codes) > CODES_A_PAGE else None,
        "continued": last is not None,
    }


@member(Permission.SET_UP, POST)
def letting_in(request: MemberRequest, series: Series) -> HttpResponse:
    """Say whether sure codes become marks by themselves."""
    let_codes_in(series=series, lets=request.POST.get("lets") == "yes")
    says = "become marks by themselves" if series.lets_codes_in else "wait for somebody’s yes"
    messages.success(request, f"Sure codes {says}, on pages that are looked through from now on.")
    return redirect("series-codes", series.slug)
