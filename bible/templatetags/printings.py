"""The printings of a series, for choosers."""

from __future__ import annotations

from django import template
from django.template.context import Context

from bible.models import Edition, Series

register = template.Library()


@register.simple_tag(takes_context=True)
def printings_of(context: Context, series: Series) -> list[Edition]:
    """The editions that are offered, and the one the page is asked for though it is put away; asked once a page."""
    kept = context.dicts[0].setdefault("printings", {})
    if series.pk not in kept:
        asked = getattr(context.get("request"), "edition", None)
        offered = list(series.editions.active().in_order())
        kept[series.pk] = offered if asked is None or asked in offered else [*offered, asked]
    return kept[series.pk]
