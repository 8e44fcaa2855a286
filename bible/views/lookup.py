"""The quick look-up, made for a phone beside the drawing board."""

from __future__ import annotations

from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_safe

from bible.access import EVERYBODY, MemberRequest, member
from bible.forms import AsOfForm
from bible.lists import lookup_table
from bible.lookup import LOOKUP_LIMIT, look_up
from bible.models import Part, Series
from bible.running_order import AsOf
from bible.tables_out import answer, wanted

SUGGESTED_PARTS = 12


@require_safe
@member(*EVERYBODY)
def lookup(request: MemberRequest, series: Series) -> HttpResponseBase:
    form = AsOfForm(request.GET)
    form.is_valid()
    words = form.cleaned_data.get("q", "")
    as_of = AsOf.of(series, form.cleaned_data.get("issue", ""))
    if wanted(request) and not form.errors:
        found = look_up(series, words, as_of.position, limit=None)
        return answer(request, series, lookup_table(series, found, as_of, words))
    context = {
        "series": series,
        "form": form,
        "as_of": as_of,
        "words": words,
        "found": look_up(series, words, as_of.position),
        "limit": LOOKUP_LIMIT,
    }
    template = "bible/_found.html" if request.htmx.target == "found" else "bible/lookup.html"
    return render(request, template, context, status=422 if form.errors else 200)


@require_safe
@member(*EVERYBODY)
def part_options(request: MemberRequest, series: Series) -> HttpResponse:
    """Type-ahead for a part: options whose names hold each of the words typed so far."""
    words = request.GET.get("part", "").replace("\0", "")
    parts = Part.objects.matching(series, words).with_names()[:SUGGESTED_PARTS]
    return render(request, "bible/_part_options.html", {"parts": parts if words.strip() else []})
