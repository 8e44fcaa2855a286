"""The years of one part and role as a strip: every lock that stands as a band of its colour, issues along.

Written by hand, as a timeline's columns are: a subject has dozens of strips.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django import template
from django.template.context import Context
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from bible.colour.gradients import ends_of
from bible.models import Lock
from bible.models.naming import name_of
from bible.series.running_order import RunningOrder
from bible.templatetags.colour import press_of

register = template.Library()

LETTER = 1.2
"""Share of a strip, in percent, that a letter of a code takes where it is narrow; what does not fit is left out,
since the list below says it."""


@dataclass(frozen=True, slots=True)
class LockStrip:
    """What was locked for one part and role, earliest first; ``has_changed`` where it is not one code."""

    name: str
    role: str
    locks: tuple[Lock, ...]
    has_changed: bool


@register.filter
def strips_of(history: Iterable[Lock], order: RunningOrder) -> list[LockStrip]:
    """The locks of a first printing that stand, by part and role, in the order in which they come."""
    together: dict[tuple[int, str], list[Lock]] = {}
    for lock in history:
        if not lock.withdrawn_at and lock.edition_id is None:
            together.setdefault((lock.part_id, lock.role), []).append(lock)
    strips = []
    for (_, role), locks in together.items():
        part, whole = locks[0].part, (0, len(order.issues))
        changed = len(locks) > 1 or order.places(locks[0]) != whole
        strips.append(LockStrip(f"{part.costume.name}: {part.name}", role, tuple(locks), changed))
    return strips


@register.simple_tag(takes_context=True)
def lock_strip(context: Context, strip: LockStrip) -> SafeString:
    """The strip as a picture as wide as its place; every band says its code, its issues, who and why."""
    order: RunningOrder = context["running_order"]
    count = max(1, len(order.issues))
    series, press = context["series"], press_of(context)
    bands = []
    for lock in strip.locks:
        first, last = order.places(lock)
        left, wide = 100 * first / count, 100 * (last - first) / count
        code = series.write(lock.locked)
        title = f"{code}, {order.span(lock)}: {name_of(lock.decided_by)}{f', {lock.reason}' if lock.reason else ''}"
        shown = code if len(code) * LETTER < wide else ""
        bands.append(
            (title, f"{left:.2f}%", f"{wide:.2f}%", press.hex(ends_of(lock.locked)[0]), f"{left:.2f}%", shown)
        )
    return format_html(
        '<svg class="lock-strip" role="img" aria-label="{}">{}</svg>',
        "; ".join(band[0] for band in bands),
        format_html_join(
            "",
            '<g><title>{}</title><rect class="band" x="{}" width="{}" height="100%" fill="{}"/>'
            '<svg x="{}" overflow="visible"><text class="strip-code" x="4" y="16">{}</text></svg></g>',
            bands,
        ),
    )
