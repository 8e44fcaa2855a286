"""Every component in every state, on one page that uses the real fragments."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from bible.access import SignedInRequest, anybody
from guides.look import context


@require_safe
@anybody
def look(request: SignedInRequest) -> HttpResponse:
    return render(request, "guides/look.html", context())
