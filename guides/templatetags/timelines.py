"""The columns of a timeline. Written by hand: a long run has thousands, and a template takes a second over them."""

from __future__ import annotations

from collections.abc import Iterable

from django import template
from django.template.context import Context
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from bible.colour.tints import Tint
from bible.web.addresses import before_key
from guides.timeline.queries import SIGN_TOP, Column, Said

register = template.Library()


@register.simple_tag(takes_context=True)
def lane_columns(context: Context, columns: Iterable[Column]) -> SafeString:
    """Each issue's marks as a link with its numbers in words, the sign of a deviation below."""
    series = context["series"]
    address, codes = before_key("issue", series), context.dicts[0].setdefault("codes", {})
    drawn = []
    for column in columns:
        words = []
        for bar in column.said:
            if bar.tint not in codes:
                codes[bar.tint] = series.write(bar.tint) if isinstance(bar.tint, Tint) else "unreadable"
            words.append(f" {bar.count} × {codes[bar.tint]} ({bar.word})")
        title = escape(f"Issue {column.issue.number}:{','.join(words)}")
        marks = "".join(map(_rect, column.said))
        drawn.append(f'<a href="{address}{column.issue.pk}/"><title>{title}</title>{marks}{_sign(column)}</a>')
    return mark_safe("".join(drawn))


def _rect(bar: Said) -> str:
    place = f'x="{bar.x:g}" y="{bar.y:g}" width="{bar.width:g}" height="{bar.height:g}"'
    if bar.fill != "none":
        return f'<rect class="said" {place} fill="{bar.fill}"/>'
    cross = f"M{bar.x:g} {bar.y:g}l{bar.width:g} {bar.height:g}m0 -{bar.height:g}l-{bar.width:g} {bar.height:g}"
    return f'<rect class="said said-unread" {place} fill="none"/><path class="unread" d="{cross}"/>'


def _sign(column: Column) -> str:
    if not column.sign:
        return ""
    place = f'transform="translate({column.middle:g} {SIGN_TOP:g})"'
    return f'<path class="sign sign-{column.sign}" {place} d="M0 1 4.5 10H-4.5Z"/>'
