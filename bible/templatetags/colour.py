"""Tints in templates. A swatch is never alone: its code stands beside it, and its press condition on the page.

Swatches are inline SVG with ``fill=``: the content security policy allows no inline style anywhere.
"""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django import template
from django.template.context import Context
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from bible.colour.gradients import Direction, Gradient, TintOrGradient
from bible.colour.press import PressCondition
from bible.colour.tints import Tint
from bible.exports.tables import TYPES
from bible.models import Costume, Issue, Lock, Series
from bible.models.fields import NoTint
from bible.models.naming import name_of
from bible.models.stretches import HasStretch
from bible.series.presses import condition
from bible.series.running_order import AsOf
from bible.templatetags.printings import speaks_of_edition
from bible.web.names import counted

register = template.Library()


def press_of(context: Context) -> PressCondition:
    """The condition a page speaks of: its own choice, else that of the edition or the issue it is about, else the
    series'. Kept for the page's other swatches."""
    if "press" not in context:
        context.dicts[0]["press"] = condition(context["series"], _press_name(context))
    return context["press"]


def _press_name(context: Context) -> str:
    """Empty where it is the series'."""
    edition = getattr(context.get("request"), "edition", None)
    if edition and speaks_of_edition(context):
        return str(edition.press)
    as_of, guide, issue = (context.get(name) for name in ("as_of", "guide", "issue"))
    if isinstance(as_of, AsOf):
        return as_of.press_name
    issue = getattr(guide, "issue", issue)
    return issue.press if isinstance(issue, Issue) else ""


STRIPS = 8
"""Steps in which a small square shows a gradient: even, of what the press makes of the tints between its ends."""


def _fading(grad: Gradient, press: PressCondition, label: str, css: str) -> SafeString:
    """The gradient as it runs on the page; from left to right where nobody said which way."""
    shades = [press.hex(tint) for tint in grad.between(STRIPS)]
    if grad.direction in (Direction.UP, Direction.LEFT):
        shades.reverse()
    width = 24 / STRIPS
    places: list[tuple[Any, ...]] = [(n * width, 0, width, 24, shade) for n, shade in enumerate(shades)]
    if grad.direction in (Direction.UP, Direction.DOWN):
        places = [(y, x, height, breadth, shade) for x, y, breadth, height, shade in places]
    return format_html(
        '<svg class="swatch {}" viewBox="0 0 24 24" preserveAspectRatio="none" role="img" aria-label="{}">{}</svg>',
        css,
        label,
        format_html_join("", '<rect x="{}" y="{}" width="{}" height="{}" fill="{}"/>', places),
    )


def _square(fill: str, label: str, css: str) -> SafeString:
    return format_html(
        '<svg class="swatch {}" viewBox="0 0 24 24" preserveAspectRatio="none" role="img" aria-label="{}">'
        '<rect width="24" height="24" fill="{}"/></svg>',
        css,
        label,
        fill,
    )


@register.simple_tag(takes_context=True)
def swatch(context: Context, tint: TintOrGradient | NoTint, css: str = "") -> SafeString:
    """A square of the printed colour; a crossed square where there is no tint."""
    if isinstance(tint, Gradient):
        press = press_of(context)
        return _fading(tint, press, f"{tint} on {press.title}", css)
    if not isinstance(tint, Tint):
        return format_html(
            '<svg class="swatch swatch-none {}" viewBox="0 0 24 24" role="img" aria-label="{}">'
            '<path d="M3 3 21 21M21 3 3 21"/></svg>',
            css,
            tint.words,
        )
    press = press_of(context)
    return _square(press.hex(tint), f"{tint} on {press.title}", css)


@register.simple_tag(takes_context=True)
def chip(context: Context, tint: TintOrGradient | NoTint, css: str = "") -> SafeString:
    """Swatch and code together. A page shows the same few tints hundreds of times, so each is written once."""
    chips = context.dicts[0].setdefault("chips", {})
    series = context["series"]
    key = (tint, css, series.pk, press_of(context).name)
    if key not in chips:
        chips[key] = format_html(
            '<span class="chip {}">{}<span class="{}">{}</span></span>',
            css,
            swatch(context, tint),
            "code code-none" if isinstance(tint, NoTint) else "code",
            tint.words if isinstance(tint, NoTint) else series.write(tint),
        )
    return chips[key]


@register.simple_tag(takes_context=True)
def role_chip(context: Context, lock: Lock) -> SafeString:
    """A locked code with its role's name before it. Written once for each role and tint, as ``chip`` is: the bible's
    page shows some eight hundred."""
    chips = context.dicts[0].setdefault("chips", {})
    series, tint = context["series"], lock.locked
    key = (lock.role, tint, series.pk, press_of(context).name)
    if key not in chips:
        chips[key] = format_html(
            '<span class="role-code"><span class="role role-{}">{}</span>{}</span>',
            lock.role,
            role_name(lock.role, series),
            chip(context, tint),
        )
    return chips[key]


@register.simple_tag(takes_context=True)
def press_note(context: Context) -> SafeString:
    """The sentence that every page with printed colours carries. The one at the foot is not said then."""
    press = press_of(context)
    context.dicts[0]["proof_said"] = True
    return format_html(
        '<p class="press-note">Colours computed for <strong>{}</strong> ({}). '
        "A screen is not a proof: judge print on the house’s own proof.</p>",
        press.title,
        press.source,
    )


@register.simple_tag(takes_context=True)
def span(context: Context, stretch: HasStretch) -> str:
    """The issues that a lock, or a time with an owner, covers in words; needs ``running_order`` in the context."""
    return context["running_order"].span(stretch)


@register.simple_tag(takes_context=True)
def worn(context: Context, costume: Costume) -> str:
    """When a costume is worn, in words; needs ``running_order`` in the context."""
    return context["running_order"].worn(costume)


@register.simple_tag(takes_context=True)
def take_along(context: Context, of: str = "", **asked: str) -> SafeString:
    """Links to what the page shows as CSV and JSON: the page's own address and filters, and what is ``asked``.

    ``of`` names the list to who hears it, where a page has several.
    """
    request = context["request"]
    query = request.GET.copy()
    for name in ("as", *asked):
        query.pop(name, None)
    query.update(asked)
    query = {name: kept for name, values in query.lists() if (kept := [value for value in values if value])}
    heard = format_html('<span class="unseen"> of {}</span>', of) if of else ""
    links = [(f"{request.path}?{urlencode(query | {'as': kind}, doseq=True)}", kind.upper(), heard) for kind in TYPES]
    return format_html(
        '<span class="take-along">Export: {}</span>',
        format_html_join(" ", '<a class="button" href="{}" download>{}{}</a>', links),
    )


@register.filter
def role_name(key: str, series: Series) -> str:
    """What the series calls a role."""
    return series.roles.name(key)


@register.filter
def kind_name(key: str, series: Series) -> str:
    """What the series calls a kind of subject."""
    return series.kinds.name(key)


@register.filter
def person(user: Any) -> str:
    """A person's name as colleagues read it."""
    return name_of(user) if user else "nobody"


@register.filter("counted")
def counted_things(number: int, words: str) -> str:
    """“1 mark”, “23 marks”; more of it after a comma where an s does not do: ``counted:"swatch,swatches"``."""
    singular, _, plural = words.partition(",")
    return counted(number, singular, plural)


@register.filter
def led_by(words: object, lead: str) -> str:
    """What there is to say with what leads up to it: “: for the night”; nothing where there is nothing to say."""
    return f"{lead}{words}" if words else ""


@register.filter
def code(series: Series, tint: TintOrGradient) -> str:
    """A tint's canonical code in a series."""
    return series.write(tint)
