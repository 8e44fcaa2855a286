"""Every component in every state, on one page that uses the real fragments."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from bible.web.access import SignedInRequest, anybody
from guides.gallery.samples import context


@require_safe
@anybody
def look(request: SignedInRequest) -> HttpResponse:
    return render(request, "guides/gallery/look.html", context())
