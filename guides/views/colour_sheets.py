"""Colour sheets: a subject's codes as of an issue on one page, to look at, to print and to pin up."""

from __future__ import annotations

import io

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from bible.access import EVERYBODY, MemberRequest, member
from bible.limits import PAPER, limited
from bible.models import Series
from bible.running_order import AsOf
from guides.colour_sheets.crops import best_crops, crop_jpeg
from guides.colour_sheets.sheets import Book, make_book
from guides.handoff.sheets import file_name

SCREEN_PIXELS = 900
"""Long side of the picture on the page, sharp on a screen of twice the usual density."""


def _book(series: Series, pk: int, as_of: AsOf) -> Book:
    book = make_book(series, as_of, series.subjects.filter(pk=pk))
    if not book.sheets:
        raise Http404("There is no such subject.")
    return book


@require_safe
@member(*EVERYBODY)
def sheet(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The sheet on screen; an issue that does not exist is told, and the latest state shown."""
    as_of = AsOf.of(series, request.GET.get("issue", ""))
    book = _book(series, pk, as_of)
    context = {
        "series": series,
        "book": book,
        "sheet": book.sheets[0],
        "as_of": as_of,
        "press": book.press,
        "issues": series.issues.active().in_order(),
    }
    return render(request, "guides/colour_sheet.html", context)


@require_safe
@member(*EVERYBODY)
@limited(PAPER, "GET")
def sheet_pdf(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The sheet as a PDF; an issue that does not exist is refused in words, so that nobody prints another state."""
    from guides.colour_sheets.pdf import write_sheet

    as_of = AsOf.of(series, request.GET.get("issue", ""))
    book = _book(series, pk, as_of)
    if as_of.unknown:
        return HttpResponse(
            f"There is no issue {as_of.unknown} in {series}.", content_type="text/plain; charset=utf-8", status=422
        )
    out = io.BytesIO()
    write_sheet(book, timezone.now(), out)
    answer = HttpResponse(out.getvalue(), content_type="application/pdf")
    name = file_name(f"{series.slug} {book.sheets[0].subject.name} {as_of}")
    answer["Content-Disposition"] = f'attachment; filename="{name}.pdf"'
    return answer


@require_safe
@member(*EVERYBODY)
def sheet_picture(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The subject as it stands on its best-marked guide up to the issue."""
    found = get_object_or_404(series.subjects, pk=pk)
    as_of = AsOf.of(series, request.GET.get("issue", ""))
    crop = best_crops([found.pk], as_of.position).get(found.pk)
    data = crop_jpeg(crop, SCREEN_PIXELS) if crop else None
    if data is None:
        raise Http404("There is no picture of this subject.")
    answer = HttpResponse(data, content_type="image/jpeg")
    # Marks move and guides get revisions: the picture may be another one tomorrow.
    answer["Cache-Control"] = "private, max-age=60"
    answer["X-Content-Type-Options"] = "nosniff"
    return answer
