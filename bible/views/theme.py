"""Choosing the greys, signed in or not."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from bible.access import everybody
from bible.theme import Theme, keep


@require_POST
@everybody
def choose(request: HttpRequest) -> HttpResponse:
    """Keep the choice and go back to the page it was made on; never to another host."""
    there = request.POST.get("next", "")
    inside = url_has_allowed_host_and_scheme(
        there, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    # An address only: what begins with no stroke would be taken for the name of one.
    response = HttpResponseRedirect(there if inside and there.startswith("/") else reverse("home"))
    said = request.POST.get("theme", "")
    if said in Theme.values:
        keep(response, Theme(said))
    else:
        messages.error(request, "There are no such greys: choose light, dark, or as the system.")
    return response
