"""The bible on paper and in the pocket: sheets, booklets, the pocket look-up."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from typing import IO

from django.contrib import messages
from django.http import FileResponse, Http404, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.templatetags.static import static
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import cache_control

from bible.models import Costume, Series
from bible.models.permissions import Permission
from bible.series.running_order import AsOf
from bible.web.access import MemberRequest, member
from bible.web.limits import BOOKLETS, PAPER, limited
from bible.web.methods import POST, SAFE
from bible.web.preferences import PAPER_SIZE, PaperSize
from guides.booklets.pocket import pocket_data
from guides.booklets.queries import Book, make_book
from guides.booklets.tasks import ask_for_booklet
from guides.core.crops import best_crops, costume_crops
from guides.core.labels import file_name
from guides.core.views import crop_picture
from guides.models import Booklet
from guides.paper.sizes import paper_asked, size_asked


@member(Permission.READ, SAFE)
def booklets(request: MemberRequest, series: Series) -> HttpResponse:
    """The booklets there are, and the form to ask for one."""
    return _list(request, series)


def _list(request: MemberRequest, series: Series, unknown: str = "") -> HttpResponse:
    context = {
        "series": series,
        "unknown": unknown,
        "booklets": series.booklets.with_names().newest_first(),
        "issues": series.issues.suggested(),
    }
    return render(request, "guides/booklets/booklets.html", context, status=422 if unknown else 200)


@member(Permission.BOOK, POST)
@limited(BOOKLETS)
def new_booklet(request: MemberRequest, series: Series) -> HttpResponse:
    """Ask for a booklet; an issue that does not exist is refused, since paper outlives a page."""
    name = request.POST.get("edition", "").replace("\0", "").strip()
    edition = get_object_or_404(series.editions, name__iexact=name) if name else None
    as_of = AsOf.of(series, request.POST.get("issue", ""), edition)
    if as_of.unknown:
        return _list(request, series, as_of.unknown)
    booklet, is_new = ask_for_booklet(
        series=series, issue=as_of.issue, edition=edition, by=request.user, paper=paper_asked(request)
    )
    if not is_new:
        messages.info(request, f"A booklet {booklet.when} is being made already; ask again when it is there.")
    return redirect(booklet)


def _booklet(series: Series, pk: int) -> Booklet:
    return get_object_or_404(Booklet.objects.with_names(), series=series, pk=pk)


@member(Permission.READ, SAFE)
def booklet(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Once it is there its file; until then how far it is."""
    booklet = _booklet(series, pk)
    context = {"series": series, "booklet": booklet, "job": None if booklet.is_ready else booklet.job}
    return render(request, "guides/booklets/booklet.html", context)


@member(Permission.READ, SAFE)
def booklet_file(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """The PDF, once it is there."""
    booklet = _booklet(series, pk)
    if not booklet.is_ready:
        raise Http404("This booklet is not ready.")
    try:
        file = booklet.file.storage.open(str(booklet.file.name), "rb")
    except FileNotFoundError as error:
        raise Http404("The booklet's file is missing; ask for it again.") from error
    name = file_name(f"{series.slug} bible {booklet.when}")
    return FileResponse(file, as_attachment=True, filename=f"{name}.pdf", content_type="application/pdf")


def _book(series: Series, pk: int, as_of: AsOf) -> Book:
    book = make_book(series, as_of, series.subjects.filter(pk=pk))
    if not book.sheets:
        raise Http404("There is no such subject.")
    return book


@member(Permission.READ, SAFE)
def sheet(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The sheet on screen; an issue that does not exist is told, and the latest state shown."""
    as_of = AsOf.of(series, request.GET.get("issue", ""), request.edition)
    book = _book(series, pk, as_of)
    context = {
        "series": series,
        "book": book,
        "sheet": book.sheets[0],
        "as_of": as_of,
        "press": book.press,
        "wall_papers": (*PaperSize.choices, ("a3", "A3")),
        "issues": series.issues.suggested(),
    }
    return render(request, "guides/booklets/colour_sheet.html", context)


@member(Permission.READ, SAFE)
@limited(PAPER, "GET")
def sheet_pdf(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The sheet as a PDF; an issue that does not exist is refused in words, so that nobody prints another state."""
    from guides.booklets.sheet_pdf import write_sheet

    size = size_asked(request)
    return _pdf(request, series, pk, lambda book, out: write_sheet(book, timezone.now(), out, size))


@member(Permission.READ, SAFE)
@limited(PAPER, "GET")
def wall_sheets(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """A page a costume to be pinned up, on the paper that is asked for."""
    from guides.booklets.wall_pdf import PAPERS, write_wall_sheets

    paper = request.GET.get("paper", PAPER_SIZE.chosen(request))
    if paper not in PAPERS:
        raise Http404("There is no such paper: ask for a4, letter or a3.")
    return _pdf(request, series, pk, lambda book, out: write_wall_sheets(book, paper, timezone.now(), out), "wall")


def _pdf(
    request: MemberRequest, series: Series, pk: int, write: Callable[[Book, IO[bytes]], None], kind: str = ""
) -> HttpResponse:
    """A subject's paper as a file; an issue that does not exist is refused in words."""
    as_of = AsOf.of(series, request.GET.get("issue", ""), request.edition)
    book = _book(series, pk, as_of)
    if as_of.unknown:
        return HttpResponse(
            f"There is no issue {as_of.unknown} in {series}.", content_type="text/plain; charset=utf-8", status=422
        )
    out = io.BytesIO()
    write(book, out)
    answer = HttpResponse(out.getvalue(), content_type="application/pdf")
    name = file_name(f"{series.slug} {book.sheets[0].subject.name} {kind} {as_of}")
    answer["Content-Disposition"] = f'attachment; filename="{name}.pdf"'
    return answer


@member(Permission.READ, SAFE)
def sheet_picture(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """The subject's picture: the chosen one, or its best-marked guide up to the issue."""
    subject = get_object_or_404(series.subjects, pk=pk)
    as_of = AsOf.of(series, request.GET.get("issue", ""), request.edition)
    return crop_picture(request, best_crops([subject.pk], as_of.position).get(subject.pk))


@member(Permission.READ, SAFE)
def costume_picture(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """The same of a costume."""
    costume = get_object_or_404(Costume, subject__series=series, pk=pk)
    as_of = AsOf.of(series, request.GET.get("issue", ""), request.edition)
    return crop_picture(request, costume_crops([costume.pk], as_of.position).get(costume.pk))


SHEETS = (
    *(f"bible/web/{name}" for name in ("tokens", "frame", "forms", "tints", "lists")),
    "guides/booklets/colour_sheets",
    "bible/web/print",
)
FILES = (
    *(f"{name}.css" for name in SHEETS),
    "guides/booklets/pocket.js",
    "guides/booklets/pocket_wording.js",
    "guides/booklets/pocket_forget.js",
    "favicon.svg",
)
"""What the page is made of besides itself and its data; in production their names carry their content."""

asked_anew = cache_control(private=True, no_cache=True)
"""Browsers ask the server each time; what is kept for times without connection is the worker's, which forgets."""


@asked_anew
@member(Permission.READ, SAFE)
def pocket(request: MemberRequest, series: Series) -> HttpResponse:
    """The page without any codes in it; its script fetches them."""
    return render(request, "guides/booklets/pocket.html", {"series": series})


@asked_anew
@member(Permission.READ, SAFE)
def data(request: MemberRequest, series: Series) -> HttpResponse:
    """As of an issue; one that does not exist is refused, or the pocket would keep another state under its number."""
    as_of = AsOf.of(series, request.GET.get("issue", ""), request.edition)
    if as_of.unknown:
        return JsonResponse({"refusal": f"There is no issue {as_of.unknown}."}, status=422)
    return JsonResponse(pocket_data(series, as_of, timezone.now()))


@asked_anew
@member(Permission.READ, SAFE)
def manifest(request: MemberRequest, series: Series) -> HttpResponse:
    """What a phone needs to keep the pocket look-up among its programs (W3C Web Application Manifest)."""
    page = reverse("pocket", args=[series.slug])
    fields = {
        "id": page,
        "name": f"Pocket look-up · {series.title}",
        "short_name": series.title,
        "start_url": page,
        "scope": page,
        "display": "standalone",
        "background_color": "#808080",
        "theme_color": "#404040",
        "icons": [{"src": static("favicon.svg"), "sizes": "any", "type": "image/svg+xml"}],
    }
    return JsonResponse(fields, content_type="application/manifest+json")


@asked_anew
@member(Permission.READ, SAFE)
def worker(request: MemberRequest, series: Series) -> HttpResponse:
    """The service worker. It lies below a page, so browsers let it answer for that page and for nothing else: once
    below the pocket's, once below the look-up's, where it answers with the pocket's copy while the line is cut."""
    settings = {
        "cache": f"pocket:{series.slug}",
        "page": reverse("pocket", args=[series.slug]),
        "lookup": reverse("lookup", args=[series.slug]),
        "data": reverse("pocket-data", args=[series.slug]),
        "files": [static(name) for name in FILES],
    }
    return render(
        request, "guides/booklets/pocket_worker.js", {"told": json.dumps(settings)}, content_type="text/javascript"
    )
