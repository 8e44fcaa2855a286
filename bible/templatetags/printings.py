"""The printings of a series, for choosers."""

from __future__ import annotations

from django import template
from django.template.context import Context

from bible.models import Edition, Series

register = template.Library()

ANSWERING = {
    "bible", "subject", "lookup", "colour-sheet", "lock", "lock-impact", "flags", "hand-off", "guide-hand-off",
    "edition", "editions", "chart", "look-alikes", "palette", "palette-compare", "palette-near", "palette-tint",
    "palette-file", "pocket", "continuity-report", "report-marks",
}  # fmt: skip
"""Names of the pages that speak of an edition where one is asked for; the others speak of the first printing."""


@register.simple_tag(takes_context=True)
def speaks_of_edition(context: Context) -> bool:
    """Whether the page at hand answers for the edition that its address names."""
    match = getattr(context.get("request"), "resolver_match", None)
    return bool(match and match.url_name in ANSWERING)


@register.simple_tag(takes_context=True)
def printings_of(context: Context, series: Series) -> list[Edition]:
    """The editions that are offered, and the one the page is asked for though it is put away; asked once a page."""
    kept = context.dicts[0].setdefault("printings", {})
    if series.pk not in kept:
        asked = getattr(context.get("request"), "edition", None)
        offered = list(series.editions.active().in_order())
        kept[series.pk] = offered if asked is None or asked in offered else [*offered, asked]
    return kept[series.pk]
