"""What every request goes through besides Django's own.

No page is stored by a browser (``Private``, unless its view says otherwise), so Back shows what was done since; the
answer to a form is kept, or Back would ask to send it again.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from urllib.parse import urlsplit, urlunsplit

from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import render
from django.utils.http import url_has_allowed_host_and_scheme

from bible.web.limits import TooMany

POLICY = ", ".join(f"{power}=()" for power in ("camera", "geolocation", "microphone", "payment", "usb"))
"""What no page of ours ever asks a browser for, so that nothing put into one could (W3C Permissions Policy)."""


class Powers:
    """Tells browsers which of their powers our pages do without."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        response.headers.setdefault("Permissions-Policy", POLICY)
        return response


NOT_STORED, ASKED_ANEW = "private, no-store", "private, no-cache"


class Private:
    """Keeps pages out of every memory but the person's own eyes, where a view says nothing else.

    A page that was asked for is not stored: browsers show a stored one at “Back” as it was, whatever has been done
    since, and after signing out too (RFC 9111, section 6, leaves that to them). The answer to a form stays in the
    browser: “Back” to what was refused shows what was typed, where one not stored would ask to send it all again.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        asked = request.method in ("GET", "HEAD")
        response.headers.setdefault("Cache-Control", NOT_STORED if asked else ASKED_ANEW)
        return response


class SignInFirst(LoginRequiredMiddleware):
    """Asks who somebody is where a page needs that.

    What takes what is sent is no page to come back to after signing in: the one it was sent from is. A piece of a
    page (htmx) has no room for the sign-in page: it is refused in words, and the browser goes there where
    anything was sent.
    """

    def process_view(
        self, request: HttpRequest, view_func: Callable[..., HttpResponseBase], *said: Any
    ) -> HttpResponseBase | None:
        refusal = super().process_view(request, view_func, *said)
        asked = request.method in ("GET", "HEAD")
        piece = request.headers.get("HX-Request") == "true"
        if refusal is None or (asked and not piece):
            return refusal
        door = redirect_to_login(_sent_from(request) or request.get_full_path())
        if not piece:
            return door
        answer = render(request, "401.html", status=401)
        if not asked:
            answer.headers["HX-Redirect"] = door.url
        return answer


class OnlySent:
    """Says in words that an address only takes what is sent: what is shown before a yes stands at such an address,
    and is opened once more."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        looked_at = request.method == "GET" and "text/html" in request.headers.get("Accept", "")
        if response.status_code != 405 or not looked_at:
            return response
        answer = render(request, "405.html", status=405)
        answer.headers["Allow"] = response.headers["Allow"]
        return answer


def _sent_from(request: HttpRequest) -> str:
    """The address of ours that a form or a piece was asked for from; empty where the browser does not say."""
    address = request.headers.get("HX-Current-URL") or request.headers.get("Referer", "")
    if not url_has_allowed_host_and_scheme(address, {request.get_host()}):
        return ""
    parts = urlsplit(address)
    return urlunsplit(("", "", parts.path, parts.query, ""))


class LimitsMiddleware:
    """Answers 429 with the sentence and the seconds to wait, as a page or, for a program, as JSON."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponseBase | None:
        return too_many(request, exception) if isinstance(exception, TooMany) else None


def too_many(request: HttpRequest, refusal: TooMany) -> HttpResponse:
    if request.get_preferred_type(["text/html", "application/json"]) == "application/json":
        answer = {"state": "slow", "message": str(refusal), "wait": refusal.wait}
        page: HttpResponse = JsonResponse(answer, status=429)
    else:
        page = render(request, "429.html", {"refusal": str(refusal)}, status=429)
    page["Retry-After"] = str(refusal.wait)
    return page
