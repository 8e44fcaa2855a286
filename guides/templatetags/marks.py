"""A mark as the desk draws and lists it.

Written by hand: a page has dozens of marks, each in two places, and templates for them took two fifths of the time
that a page takes to open.

So are a timeline's columns (``timelines.py``). Everything that a page has not hundreds of is a template.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from django import template
from django.template.context import Context
from django.template.loader import render_to_string
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from bible.colour.tints import Tint
from bible.models.roles import BASE_ROLE
from bible.templatetags.colour import chip
from guides.models import MOST_COUNTED

if TYPE_CHECKING:
    from guides.desk.panel import MarkRow

register = template.Library()


@register.filter
def to_most(number: int) -> str:
    """A number of marks that was counted no further than pages do: “23”, “more than 10,000”."""
    return f"more than {MOST_COUNTED:,}" if number > MOST_COUNTED else str(number)


POLE = (
    '<path d="M0 0 -13 -26H13z"/><circle class="pin-ring" r="5"/>'
    '<circle class="pin-disc" r="13" cy="-30"/><text y="-25">'
)
DISC = '<circle class="pin-hit" r="13"/><circle class="pin-disc" r="13" cy="0"/><text y="5">'
DROP = "c-3 5-5 8-5 11a5 5 0 0 0 10 0c0-3-2-6-5-11z"


@register.simple_tag(takes_context=True)
def pin(context: Context, row: MarkRow) -> SafeString:
    """The mark on the picture: a disc, or a pennant on its place where it is flagged."""
    mark = row.mark
    link, address = _addresses(context, mark.pk)
    weak = " pin-weak" if row.flag and row.flag.kind.is_weak else ""
    css = f"pin pin-{row.state}{weak}{' pin-chosen' if _is_chosen(context, row) else ''}"
    moves = f' data-move="{address}move" data-seen="{mark.version}"' if context.get("may_mark") else ""
    drop = f'<path class="pin-drop" d="M17 {-54 if row.flag else -24}{DROP}"/>' if row.paint_odd else ""
    return mark_safe(
        f'<a class="{css}" href="{link}" data-mark="{address}"{moves} transform="{row.transform}" '
        f'aria-label="{escape(row.spoken)}"><g class="pin-shape">{POLE if row.flag else DISC}{mark.number}</text>'
        f"{drop}</g></a>"
    )


@register.simple_tag(takes_context=True)
def mark_row(context: Context, row: MarkRow) -> SafeString:
    """The mark in the list below the picture."""
    mark = row.mark
    link, address = _addresses(context, mark.pk)
    css = ' class="chosen"' if _is_chosen(context, row) else ""
    part = f' data-part="{mark.part_id}"' if mark.part_id else ""
    fade = f' <span class="arrow">fades to</span> {chip(context, mark.to_tint)}' if mark.to_tint is not None else ""
    code_cell = f"<td{_as_read(context, row)}>" + f'<span class="code">{escape(mark.both_written)}</span></td>'
    return mark_safe(
        f'<tr{css}{part}><th scope="row" class="number"><a href="{link}" hx-get="{address}" hx-target="#panel">'
        f"{mark.number}</a></th>{code_cell}"
        f"<td>{chip(context, mark.tint)}{fade}</td><td>{_belongs_to(context, row)}</td>"
        f"<td>{_against_the_bible(context, row)}{_paint(row)}{_let_in(row)}</td></tr>"
    )


@cache
def _sign(name: str) -> str:
    """One of the small drawings, which are the same everywhere."""
    return render_to_string(f"guides/{name}.html").strip()


def _addresses(context: Context, pk: int) -> tuple[str, str]:
    """The page with this mark chosen, and the mark itself."""
    return f"{context.get('guide_address', '')}?mark={pk}", f"{context.get('marks_address', '')}{pk}/"


def _as_read(context: Context, row: MarkRow) -> str:
    """Written as the series writes the tint itself, it need not be said twice where there is little room."""
    mark = row.mark
    is_same = isinstance(mark.tint, Tint) and mark.both_written == context["series"].write(mark.tint)
    return ' class="same"' if is_same else ""


def _is_chosen(context: Context, row: MarkRow) -> bool:
    chosen = context.get("chosen")
    return chosen is not None and chosen.pk == row.mark.pk


def _belongs_to(context: Context, row: MarkRow) -> str:
    mark = row.mark
    if mark.part is None:
        return '<span class="aside">background</span>'
    if mark.role == BASE_ROLE:
        return escape(mark.part.full_name)
    name = escape(context["series"].roles.name(mark.role))
    role = f' <span class="role role-{escape(mark.role)}">{name}</span>'
    return f"{escape(mark.part.full_name)}{role}"


def _against_the_bible(context: Context, row: MarkRow) -> str:
    mark, flag = row.mark, row.flag
    if flag is None:
        return "agrees" if row.state == "agrees" else ""
    waived = ', <span class="waived-word">waived</span>' if mark.waived else ""
    apart = ""
    if flag.severity:
        how = f"{flag.severity.word}, ΔE₀₀ {flag.delta_e:.1f}"
        apart = f' {chip(context, mark.expectation)} <span class="aside">{how}</span>'
    word = "span" if flag.kind.is_weak else "strong"
    return f"{_sign('core/_pennant')}<{word}>{flag.kind.label}</{word}>{waived}{apart}"


def _paint(row: MarkRow) -> str:
    return f' <span class="paint-odd">{_sign("paint/_drop")}paint disagrees</span>' if row.paint_odd else ""


def _let_in(row: MarkRow) -> str:
    return ' <span class="aside">let in by itself, nobody has looked</span>' if row.mark.let_in else ""
