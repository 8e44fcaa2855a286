"""The page for a fault of ours: it asks nothing of the database, which may be what is broken."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.template import loader


def broken(request: HttpRequest) -> HttpResponse:
    """It says the request's number, by which the log is found."""
    number = getattr(request, "number", "")
    return HttpResponse(loader.get_template("500.html").render({"number": number}), status=500)
