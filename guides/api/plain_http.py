"""What every address owes to HTTP itself, whatever it answers: HEAD as GET, a mark of what was answered, and how to
come in."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import conditional_page

View = Callable[..., HttpResponse]

CHALLENGE = 'Bearer realm="series colour bible"'
"""RFC 6750, section 3: who is refused for want of a token is told which kind opens."""

ASKED_ANEW = "private, no-cache"
"""A program may keep an answer, for itself, and asks each time whether it still holds (RFC 9111, 5.2.2.4)."""


def plain_http(view: View) -> View:
    """Answers HEAD (RFC 9110, 9.3.2) as GET without its body, ``If-None-Match`` with 304 where the answer is the
    same (13.1.2), and a 401 with its challenge (11.6.1)."""
    answer_if_new = conditional_page(view)

    @wraps(view)
    def answer(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        asked, request.method = request.method, "GET" if request.method == "HEAD" else request.method
        try:
            response: HttpResponse = answer_if_new(request, *args, **kwargs)
        finally:
            request.method = asked
        if response.status_code == 401:
            response.headers["WWW-Authenticate"] = CHALLENGE
        if response.has_header("ETag"):
            response.headers["Cache-Control"] = ASKED_ANEW
        return response

    return answer
