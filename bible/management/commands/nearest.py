"""``manage.py nearest COLOUR``: the codes nearest to a colour, and how near the press can come at all."""

from __future__ import annotations

import math
import re
from typing import Any

import numpy as np
from django.core.management.base import CommandParser

from bible.colour.charts import CHART_64
from bible.colour.colorimetry import srgb_to_lab
from bible.colour.difference import nearest
from bible.colour.tints import INKS
from bible.management.output import JsonCommand, notation_of
from bible.management.tints import named

MAX_CHROMA_AXIS = 200.0
"""No real surface colour has a* or b* beyond this (optimal colours reach some 170)."""

_HEX = re.compile(r"#?([0-9a-fA-F]{6})\Z")


class Command(JsonCommand):
    help = "Find the chart's codes nearest to a colour: L* a* b* (D50, 2°), or #rrggbb (sRGB)."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("colour", nargs="+", help="three figures L* a* b*, or one of the form #rrggbb")
        parser.add_argument("--series", help="the chart and the notation of this series (default: the classic ones)")
        parser.add_argument("--press", help="press condition (default: the series', or coldset newsprint)")
        parser.add_argument("--count", default="5", help="how many codes (default 5)")
        parser.add_argument(
            "--relative", action="store_true", help="the colour is relative to the paper: L* 100 is bare paper"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        as_json = options["json"]
        series = self.series(options["series"], as_json=as_json) if options["series"] else None
        press = self.press(options["press"], series, as_json=as_json)
        if not options["count"].isdecimal() or not 1 <= int(options["count"][:9]) <= 5000:
            self.refuse(f"--count is a number from 1 to 5000, not {options['count']!r}.", as_json=as_json)
        try:
            lab = wanted_lab(" ".join(options["colour"]))
        except ValueError as error:
            self.refuse(str(error), as_json=as_json)
        chart = series.chart if series else CHART_64
        nearby = nearest(chart.tints, lab, press, int(options["count"]), options["relative"])
        notation = notation_of(series)
        matches = [
            {**named(match.tint, notation), "difference": match.difference, "severity": match.severity}
            for match in nearby.matches
        ]
        recipe = dict(zip(INKS, nearby.recipe, strict=True))
        if as_json:
            self.say(
                {
                    "lab": list(lab),
                    "relative": options["relative"],
                    "press": press.name,
                    "chart": chart.name,
                    "nearest": matches[0],
                    "matches": matches,
                    "printable": {"difference": nearby.printable, "percentages": recipe},
                }
            )
            return
        self.stdout.write(f"Nearest on {chart.title}, printed on {press.title}, by CIEDE2000:")
        for match in matches:
            self.stdout.write(f"  {match['code']}  ({match['percent']})  {match['difference']:.2f}")
        inks = " ".join(f"{ink.upper()}{percent:.0f}" for ink, percent in recipe.items() if percent >= 0.5)
        self.stdout.write(f"Nearest that this press can print at all: {nearby.printable:.2f}  ({inks or 'paper'})")


def wanted_lab(text: str) -> tuple[float, float, float]:
    """L*, a*, b* (D50, 2°) of a colour as typed. ValueError says what is wrong with it."""
    if match := _HEX.match(text.strip()):
        rgb = np.frombuffer(bytes.fromhex(match[1]), dtype=np.uint8)
        lightness, a, b = srgb_to_lab(rgb).tolist()
        return lightness, a, b
    cells = text.replace(",", " ").split()
    try:
        values = [float(cell) for cell in cells]
    except ValueError:
        values = []
    if len(values) != 3 or not all(map(math.isfinite, values)):
        raise ValueError(f"{text!r} is no colour: give L* a* b* as three figures, or #rrggbb.")
    lightness, a, b = values
    if not 0 <= lightness <= 100 or abs(a) > MAX_CHROMA_AXIS or abs(b) > MAX_CHROMA_AXIS:
        raise ValueError(f"{text!r} is no colour: L* is from 0 to 100, a* and b* within {MAX_CHROMA_AXIS:.0f}.")
    return lightness, a, b
