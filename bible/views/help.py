"""Help in the application, for whoever asks: it tells of no series."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from bible.access import everybody
from bible.colour.difference import SEVERITY_BANDS
from bible.colour.press import available


@dataclass(frozen=True, slots=True)
class Topic:
    """One page of help; ``asks`` is the question somebody comes with."""

    slug: str
    title: str
    asks: str

    @property
    def url(self) -> str:
        return reverse("help-keys") if self.slug == "keys" else reverse("help-page", args=[self.slug])


TOPICS = (
    Topic("trade", "The trade in short", "What is a flat tint, what does YR3B2 say, and who does what?"),
    Topic("bringing-in", "Bringing a series in", "Where do I start, with nothing or with years of old guides?"),
    Topic("flags", "How flags arise", "Why is this mark flagged, and what can I do about it?"),
    Topic("press", "What a press condition is", "Why do the colours look so dull, and what are they computed for?"),
    Topic("keys", "Keys", "Which keys do what?"),
)


@require_safe
@everybody
def index(request: HttpRequest) -> HttpResponse:
    return render(request, "help/index.html", {"topics": TOPICS})


@require_safe
@everybody
def page(request: HttpRequest, topic: str) -> HttpResponse:
    chosen = next((one for one in TOPICS if one.slug == topic and topic != "keys"), None)
    if chosen is None:
        raise Http404("No such page of help.")
    context = {"topics": TOPICS, "topic": chosen, "severities": SEVERITY_BANDS, "presses": available()}
    return render(request, f"help/{chosen.slug}.html", context)


@require_safe
@everybody
def keys(request: HttpRequest) -> HttpResponse:
    """The map of keys as a page; for the map that lies over a page, its sheets alone."""
    context = {"topics": TOPICS, "topic": TOPICS[-1]}
    return render(request, "help/_keys.html" if "alone" in request.GET else "help/keys.html", context)
