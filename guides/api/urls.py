"""The API's addresses: opened by a token in a header, so neither by a sign-in nor to a browser's cookies."""

from __future__ import annotations

from collections.abc import Iterable

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import URLPattern, URLResolver, path

from guides.api import changing_views, write_views  # noqa: F401 (their addresses)
from guides.api.plain_http import plain_http
from guides.api.views import api


def opened(patterns: Iterable[URLPattern | URLResolver]) -> list[URLPattern | URLResolver]:
    """The same patterns, keeping to plain HTTP, and each telling the sign-in to stay out and what opens it."""
    patterns = list(patterns)
    for pattern in patterns:
        if isinstance(pattern, URLPattern):
            pattern.callback = plain_http(pattern.callback)
            login_not_required(pattern.callback)
            rule = "everybody" if pattern.name in ("api-root", "openapi-json") else "bearer"
            pattern.callback.open_to = rule  # type: ignore[attr-defined]
    return patterns


def root(request: HttpRequest) -> HttpResponse:
    """What there is to ask is said in OpenAPI; there is no other front page."""
    return redirect("api:openapi-json")


app_name = "api"
urlpatterns = opened(
    [
        path("", root, name="api-root"),
        *(pattern for pattern in api.urls[0] if getattr(pattern, "name", "") != "api-root"),
    ]
)
