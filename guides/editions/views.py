"""What an edition prints otherwise: codes, and the marks that are translated."""

from __future__ import annotations

from django.http import Http404, HttpResponseBase
from django.shortcuts import get_object_or_404, render

from bible.exports.tables import answer, wanted
from bible.models import Edition, Series
from bible.models.permissions import Permission
from bible.series.presses import condition
from bible.series.running_order import RunningOrder
from bible.web.access import MemberRequest, member
from bible.web.methods import SAFE
from guides.editions.exports import differences_table
from guides.editions.queries import apart_in_print, printing_differences, translated_by_issue, with_marks


@member(Permission.READ, SAFE)
def edition(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """Which codes differ between this edition and the first printing, or another edition (``?beside=``)."""
    printing = get_object_or_404(series.editions.select_related("series"), pk=pk)
    beside, press = _beside(printing, request.GET.get("beside", "")), condition(series, printing.press)
    rows = apart_in_print(with_marks(printing_differences(printing, beside), printing), press)
    if wanted(request):
        return answer(request, series, differences_table(printing, beside, rows, press))
    context = {
        "series": series,
        "edition": printing,
        "beside": beside,
        "others": series.editions.in_order().exclude(pk=pk),
        "rows": rows,
        "press": press,
        "issues": translated_by_issue(printing),
        "running_order": RunningOrder.of(series),
    }
    return render(request, "guides/editions/edition.html", context)


def _beside(edition: Edition, name: str) -> Edition | None:
    name = name.replace("\0", "").strip()
    if not name:
        return None
    beside = edition.series.editions.filter(name__iexact=name).exclude(pk=edition.pk).first()
    if beside is None:
        raise Http404("There is no such edition to compare with.")
    return beside
