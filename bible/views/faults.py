"""The page for a fault of ours: it asks nothing of the database, which may be what is broken."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.template import loader
from django.templatetags.static import static

SHEETS = ("css/tokens.css", "css/frame.css")


def broken(request: HttpRequest) -> HttpResponse:
    """It says the request's number, by which the log is found."""
    said = {"number": getattr(request, "number", ""), "sheets": _addresses()}
    return HttpResponse(loader.get_template("500.html").render(said), status=500)


def _addresses() -> list[str]:
    """Where the style sheets are; none where they were never collected, since this page has to come in any case."""
    try:
        return [static(sheet) for sheet in SHEETS]
    except ValueError:
        return []
