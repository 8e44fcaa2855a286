"""``manage.py chart``: the tints of a chart as a press prints them, or the press conditions at hand."""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandParser

from bible.colour import press as shipped
from bible.colour.charts import CHART_64
from bible.management.output import JsonCommand, notation_of
from bible.management.tints import described, line
from bible.models import Series
from bible.series.presses import available


class Command(JsonCommand):
    help = "List the tints of a series' chart (or of the classic one) as a press prints them, or the presses."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("--series", help="the chart of this series (default: the classic 64 tints)")
        parser.add_argument("--press", help="press condition (default: the series', or coldset newsprint)")
        parser.add_argument("--presses", action="store_true", help="list the press conditions at hand instead")

    def handle(self, *args: Any, **options: Any) -> None:
        as_json = options["json"]
        series = self.series(options["series"], as_json=as_json) if options["series"] else None
        if options["presses"]:
            self._presses(series, as_json)
            return
        press = self.press(options["press"], series, as_json=as_json)
        chart = series.chart if series else CHART_64
        answers = described(chart.tints, notation_of(series), press)
        if as_json:
            condition = press.info._asdict()
            self.say({"chart": chart.name, "title": chart.title, "press": condition, "tints": answers})
            return
        self.stdout.write(f"{chart.title}, printed on {press.title} ({press.source})")
        for answer in answers:
            self.stdout.write(line(answer))
        self.stdout.write("A screen is not a proof: judge print on the house's own proof.")

    def _presses(self, series: Series | None, as_json: bool) -> None:
        infos = available(series) if series else shipped.available()
        if as_json:
            self.say([info._asdict() for info in infos])
            return
        for info in infos:
            self.stdout.write(f"{info.name}: {info.title} ({info.source})")
