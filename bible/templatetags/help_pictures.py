"""The pictures of the help pages: a small panel of our own, drawn from its tints, so that none of them can grow old.

Paint is drawn as the inks' plain complement, which no press prints: dyes are richer than ink. Print is what the press
condition makes of the same codes.
"""

from __future__ import annotations

from math import pi, sqrt

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from bible.colour.press import PressCondition, load
from bible.colour.tints import Tint

register = template.Library()

NEWSPRINT, COATED = "newsprint", "coated-fogra39"

SHAPES: tuple[tuple[str, str, str, Tint, tuple[int, int]], ...] = (
    ("sky", "B2", "M0 0H120V52H0Z", Tint(c=25), (18, 12)),
    ("lamp", "Y", "M88 16a8 8 0 1 0 16 0a8 8 0 1 0-16 0Z", Tint(y=100), (96, 16)),
    ("water", "B3", "M0 52H120V90H0Z", Tint(c=50), (14, 80)),
    ("pennant", "R", "M60 8L78 14L60 20Z", Tint(m=100), (65, 14)),
    ("cabin", "YR2", "M44 32H76V52H44Z", Tint(m=25, y=100), (47, 48)),
    ("window", "Y2", "M63 35h9v8h-9Z", Tint(y=25), (67, 39)),
    ("hull", "YR3B2", "M20 52H100L86 72H34Z", Tint(c=25, m=50, y=100), (60, 62)),
)
"""Name, code, outline, tint, and where its code stands, on a panel 120 wide and 90 high."""

MAST = "M60 8V32"
PLATES = {"y": "yellow", "m": "red", "c": "blue", "k": "black"}
TURNS = {"y": 0, "m": 45, "c": 75, "k": 45}
"""Degrees by which a screen is turned (common practice, no source)."""
DOT_ROOM = 3.0
"""Side of the square that one dot of a screen has, in the panel's own lengths."""


def _painted(tint: Tint) -> str:
    cyan, magenta, yellow, key = (percent / 100 for percent in tint.percentages)
    shares = (255 * (1 - ink) * (1 - key) for ink in (cyan, magenta, yellow))
    return "#" + "".join(f"{round(share):02x}" for share in shares)


def _panel(fills: dict[str, str], more: SafeString | str, words: str) -> SafeString:
    areas = format_html_join(
        "",
        '<path d="{}" fill="{}" stroke="#161616" stroke-width="1.4" stroke-linejoin="round"/>',
        ((outline, fills[name]) for name, _, outline, _, _ in SHAPES),
    )
    return format_html(
        '<svg class="help-panel" viewBox="-1 -1 122 92" role="img" aria-label="{}">{}'
        '<path d="{}" stroke="#161616" stroke-width="1.4"/>{}</svg>',
        words,
        areas,
        MAST,
        more,
    )


def _codes(css: str) -> SafeString:
    return format_html_join(
        "", '<text class="{}" x="{}" y="{}">{}</text>', ((css, x, y + 3, code) for _, code, _, _, (x, y) in SHAPES)
    )


def _cards(press: PressCondition) -> SafeString:
    """Each mark as the desk shows it: a dot, and a card with swatch and code."""
    return format_html_join(
        "",
        '<circle cx="{}" cy="{}" r="1.6" fill="#fff" stroke="#161616"/><rect x="{}" y="{}" width="{}" height="8"'
        ' rx="1" fill="#fff" stroke="#161616" stroke-width=".5"/><rect x="{}" y="{}" width="5" height="5" fill="{}"/>'
        '<text class="help-code" x="{}" y="{}">{}</text>',
        (
            (x, y, x + 3, y - 4, 9 + 4.2 * len(code), x + 4.5, y - 2.5, press.hex(tint), x + 11, y + 2.2, code)
            for _, code, _, tint, (x, y) in SHAPES
        ),
    )


def _screen(name: str, percent: int, fill: str, turn: int) -> tuple[SafeString, str]:
    """A pattern of dots that cover a share, and the fill that names it; solid and nothing need none."""
    if percent in (0, 100):
        return SafeString(""), fill if percent else "#ffffff"
    radius = DOT_ROOM * sqrt(percent / 100 / pi)
    made = format_html(
        '<pattern id="{}" width="{}" height="{}" patternUnits="userSpaceOnUse" patternTransform="rotate({})">'
        '<circle cx="{}" cy="{}" r="{}" fill="{}"/></pattern>',
        name, DOT_ROOM, DOT_ROOM, turn, DOT_ROOM / 2, DOT_ROOM / 2, f"{radius:.2f}", fill,
    )  # fmt: skip
    return made, f"url(#{name})"


@register.simple_tag
def panel_painted() -> SafeString:
    """The guide: painted, with the codes written on it."""
    fills = {name: _painted(tint) for name, _, _, tint, _ in SHAPES}
    return _panel(fills, _codes("help-written"), "A painted panel with a code written on each area")


@register.simple_tag
def panel_marked() -> SafeString:
    """The same with a mark on every code."""
    fills = {name: _painted(tint) for name, _, _, tint, _ in SHAPES}
    return _panel(fills, _cards(load(NEWSPRINT)), "The same panel with a mark for each code: its swatch as it prints")


@register.simple_tag
def panel_plate(ink: str) -> SafeString:
    """What of the panel stands on the plate of one ink; key is the line art."""
    screens = {
        percent: _screen(f"plate-{ink}-{percent}", percent, "#161616", TURNS[ink]) for percent in (0, 25, 50, 100)
    }
    fills = {name: screens[getattr(tint, ink)][1] for name, _, _, tint, _ in SHAPES}
    patterns = format_html_join("", "{}", ((made,) for made, _ in screens.values()))
    return _panel(fills, format_html("<defs>{}</defs>", patterns), f"The plate of {PLATES[ink]}, as dots")


@register.simple_tag
def panel_printed(press_name: str = NEWSPRINT) -> SafeString:
    """The panel as a press condition prints its codes."""
    press = load(press_name)
    fills = {name: press.hex(tint) for name, _, _, tint, _ in SHAPES}
    return _panel(fills, "", f"The panel as it prints: {press.title}")


@register.simple_tag
def adding_up() -> SafeString:
    """YR3B2 ink by ink: three screens, and what they make together."""
    press = load(NEWSPRINT)
    inks = ((Tint(y=100), "Y", 100, 0), (Tint(m=100), "R3", 50, 45), (Tint(c=100), "B2", 25, 75))
    boxes = []
    for at, (solid, code, percent, turn) in enumerate(inks):
        made, fill = _screen(f"add-{code}", percent, press.hex(solid), turn)
        boxes.append(
            (made, at * 60, press.hex(Tint()), at * 60, fill, at * 60 + 22, code, at * 60 + 22, f"{percent} %")
        )
    together = press.hex(Tint(c=25, m=50, y=100))
    return format_html(
        '<svg class="help-row" viewBox="-1 -1 232 68" role="img" aria-label="Solid yellow, 50 % red and 25 % blue'
        ' make YR3B2">{}<rect x="180" width="48" height="44" fill="{}"/><text class="help-code" x="204" y="54">YR3B2'
        "</text>{}</svg>",
        format_html_join(
            "",
            '<defs>{}</defs><rect x="{}" width="44" height="44" fill="{}"/>'
            '<rect x="{}" width="44" height="44" fill="{}"/>'
            '<text class="help-code" x="{}" y="54">{}</text><text class="help-words" x="{}" y="63">{}</text>',
            boxes,
        ),
        together,
        format_html_join("", '<text class="help-sign" x="{}" y="28">{}</text>', ((52, "+"), (112, "+"), (172, "="))),
    )


@register.simple_tag
def two_papers() -> SafeString:
    """The panel's codes on newsprint, and touching them the same on coated paper."""
    presses = [load(NEWSPRINT), load(COATED)]
    rows = [
        (at * 34, presses[0].hex(tint), at * 34, presses[1].hex(tint), at * 34 + 16, code)
        for at, (_, code, _, tint, _) in enumerate(SHAPES)
    ]
    return format_html(
        '<svg class="help-row" viewBox="-1 -1 240 76" role="img" aria-label="{} above, {} below">{}</svg>',
        presses[0].title,
        presses[1].title,
        format_html_join(
            "",
            '<rect x="{}" width="32" height="30" fill="{}"/><rect x="{}" y="30" width="32" height="30" fill="{}"/>'
            '<text class="help-code" x="{}" y="70">{}</text>',
            rows,
        ),
    )


FRAMES = (
    ("Point at the area", "The area under the pointer lights up.", "M40 66l6 12 3-5 6-1Z", ""),
    ("Type its code", "A letter typed there begins the mark.", "", "YR3B2"),
    ("Name the part", "Two letters find it: hu for hull.", "", "YR3B2 · hull"),
    ("Enter", "The mark stands, and says its swatch and code.", "", "■ YR3B2"),
    ("The next one", "1 to 9 over the page take the last subject’s other parts.", "", "YR2 · 2 cabin"),
    ("What differs", "A pennant says that the bible has another code.", "M60 62l-8-16h16Z", "bible: YR2"),
)


@register.simple_tag
def six_frames() -> SafeString:
    """Marking in six frames, each the panel with what is done there."""
    fills = {name: _painted(tint) for name, _, _, tint, _ in SHAPES}
    hull = SHAPES[-1][2]
    frames = []
    for title, words, path, typed in FRAMES:
        lit = format_html('<path d="{}" fill="none" stroke="#fff" stroke-width="2" stroke-dasharray="3 2"/>', hull)
        sign = format_html('<path d="{}" fill="#161616" stroke="#fff"/>', path) if path else ""
        card = format_html(
            '<rect x="28" y="74" width="{}" height="12" rx="1" fill="#fff" stroke="#161616"/>'
            '<text class="help-code" x="32" y="83">{}</text>', 10 + 5.2 * len(typed), typed,
        ) if typed else ""  # fmt: skip
        frames.append((_panel(fills, format_html("{}{}{}", lit, sign, card), title), title, words))
    return format_html(
        '<ol class="help-frames">{}</ol>',
        format_html_join("", "<li>{}<p><strong>{}.</strong> {}</p></li>", frames),
    )


@register.simple_tag
def timeline_told() -> SafeString:
    """A part's timeline with its signs named."""
    press = load(NEWSPRINT)
    old, new = press.hex(Tint(y=100)), press.hex(Tint(m=100, y=100))
    return format_html(
        '<svg class="help-row" viewBox="0 0 240 86" role="img" aria-label="A part’s timeline: what is locked above,'
        ' what marks say below, a triangle where they differ">'
        '<text class="help-words" x="0" y="9">locked: Y up to issue 12, YR from 13 on</text>'
        '<rect y="14" width="120" height="16" fill="{}" stroke="#161616"/>'
        '<rect x="120" y="14" width="120" height="16" fill="{}" stroke="#161616"/>'
        '<rect y="36" width="118" height="8" fill="{}"/><rect x="122" y="36" width="78" height="8" fill="{}"/>'
        '<rect x="140" y="46" width="14" height="8" fill="{}"/><path class="help-sign" d="M147 57l6 11h-12Z"/>'
        '<text class="help-words" x="0" y="80">'
        "below: what the marks say. In issue 14 one still says Y: a flag.</text></svg>",
        *(old, new, old, new, old),
    )
