"""Help, the choice of a grey and of a paper, and the page that a fault shows."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect, JsonResponse
from django.shortcuts import render
from django.template import loader
from django.templatetags.static import static
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST, require_safe

from bible.colour.difference import SEVERITY_BANDS
from bible.colour.press import available
from bible.web.access import everybody
from bible.web.outages import Outage, outage_of
from bible.web.preferences import Preference
from bible.web.words import WORDS


@require_POST
@everybody
def choose(request: HttpRequest, preference: Preference[Any]) -> HttpResponse:
    """Keep the choice and go back to the page it was made on; never to another host."""
    there = request.POST.get("next", "")
    inside = url_has_allowed_host_and_scheme(
        there, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    # An address only: what begins with no stroke would be taken for the name of one.
    response = HttpResponseRedirect(there if inside and there.startswith("/") else reverse("home"))
    asked = request.POST.get(preference.name, "")
    if asked in preference.kinds.values:
        preference.keep(response, preference.kinds(asked))
    else:
        messages.error(request, f"There is no such {preference.name}: choose {preference.words}.")
    return response


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
    Topic(
        "marking",
        "Marking a page",
        "How does a code get from the guide into the bible, and what does a timeline say?",
    ),
    Topic("bringing-in", "Bringing a series in", "Where do I start, with nothing or with years of old guides?"),
    Topic("flags", "How flags arise", "Why is this mark flagged, and what can I do about it?"),
    Topic("found-codes", "Codes found on a page", "How does a page propose its own marks, and when does one count?"),
    Topic("press", "What a press condition is", "Why do the colours look so dull, and what are they computed for?"),
    Topic("second-factor", "A second factor", "How do I keep my account mine, and what if the phone is lost?"),
    Topic("words", "Words", "What is a thing called here, and what does a word mean?"),
    Topic("keys", "Keys", "Which keys do what?"),
)


@require_safe
@everybody
def help_index(request: HttpRequest) -> HttpResponse:
    return render(request, "bible/web/help/index.html", {"topics": TOPICS})


@require_safe
@everybody
def help_page(request: HttpRequest, topic: str) -> HttpResponse:
    chosen = next((listed for listed in TOPICS if listed.slug == topic and topic != "keys"), None)
    if chosen is None:
        raise Http404("No such page of help.")
    context = {
        "topics": TOPICS,
        "topic": chosen,
        "severities": SEVERITY_BANDS,
        "presses": available(),
        "vocabulary": WORDS,
    }
    return render(request, f"bible/web/help/{chosen.slug}.html", context)


@require_safe
@everybody
def help_keys(request: HttpRequest) -> HttpResponse:
    """The map of keys as a page; for the map that lies over a page, its sheets alone."""
    context = {"topics": TOPICS, "topic": TOPICS[-1]}
    return render(
        request, "bible/web/help/_keys.html" if "alone" in request.GET else "bible/web/help/keys.html", context
    )


SHEETS = ("bible/web/tokens.css", "bible/web/frame.css")


def broken(request: HttpRequest) -> HttpResponse:
    """It says the request's number, by which the log is found; or, where the machine is in trouble, that."""
    if trouble := outage_of(sys.exception()):
        return troubled(request, trouble)
    context = {"number": getattr(request, "number", ""), "sheets": _addresses()}
    return HttpResponse(loader.get_template("500.html").render(context), status=500)


def troubled(request: HttpRequest, trouble: Outage) -> HttpResponse:
    """As a page, or as JSON for a program. Nothing is asked of the database for it."""
    if request.get_preferred_type(["text/html", "application/json"]) == "application/json":
        facts = {"state": "busy", "message": trouble.words, "wait": trouble.wait}
        answer: HttpResponse = JsonResponse(facts, status=trouble.status)
    else:
        page = loader.get_template("trouble.html").render({"trouble": trouble, "sheets": _addresses()})
        answer = HttpResponse(page, status=trouble.status)
    answer["Retry-After"] = str(trouble.wait)
    return answer


def _addresses() -> list[str]:
    """Where the style sheets are; none where they were never collected, since this page has to come in any case."""
    try:
        return [static(sheet) for sheet in SHEETS]
    except ValueError:
        return []
