"""The pocket look-up: a page that keeps working without connection, its data, and the worker that keeps both."""

from __future__ import annotations

import json

from django.http import HttpResponse, JsonResponse
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe

from bible.access import EVERYBODY, MemberRequest, member
from bible.models import Series
from guides.colour_sheets.pocket import pocket_data

SHEETS = ("tokens", "frame", "forms", "tints", "lists", "colour_sheets", "print")
FILES = (*(f"css/{name}.css" for name in SHEETS), "js/pocket.js", "js/pocket_forget.js", "favicon.svg")
"""What the page is made of besides itself and its data; in production their names carry their content."""

asked_anew = cache_control(private=True, no_cache=True)
"""Browsers ask the server each time; what is kept for times without connection is the worker's, which forgets."""


@require_safe
@asked_anew
@member(*EVERYBODY)
def pocket(request: MemberRequest, series: Series) -> HttpResponse:
    """The page without any codes in it; its script fetches them."""
    return render(request, "guides/pocket.html", {"series": series})


@require_safe
@asked_anew
@member(*EVERYBODY)
def data(request: MemberRequest, series: Series) -> HttpResponse:
    return JsonResponse(pocket_data(series, timezone.now()))


@require_safe
@asked_anew
@member(*EVERYBODY)
def worker(request: MemberRequest, series: Series) -> HttpResponse:
    """The service worker. It lies below the page, so browsers let it answer for the page and for nothing else."""
    told = {
        "cache": f"pocket:{series.slug}",
        "page": reverse("pocket", args=[series.slug]),
        "data": reverse("pocket-data", args=[series.slug]),
        "files": [static(name) for name in FILES],
    }
    return render(request, "guides/pocket_worker.js", {"told": json.dumps(told)}, content_type="text/javascript")
