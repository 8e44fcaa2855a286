"""``manage.py gradient FROM TO``: whether a fade holds its hue in print, and which end would hold it better."""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandParser

from bible.colour.charts import CHART_64
from bible.colour.notation import NotationError
from bible.colour.printed_gradients import PrintedGradient, gradient, suggest_ends
from bible.colour.tints import INKS, Tint
from bible.management.output import JsonCommand, notation_of, refusal
from bible.management.tints import described, named
from bible.models import Series


def facts_of(printed: PrintedGradient) -> dict[str, Any]:
    """A gradient's verdict and path as JSON has them."""
    facts = {name: getattr(printed, name) for name in ("holds_hue", "neutral", "turn", "at", "towards")}
    step, path = printed.hard_step, zip(printed.tints.tolist(), printed.lab.tolist(), strict=True)
    return facts | {
        "verdict": printed.words,
        "hard_step": {"difference": step.difference, "severity": step.severity},
        "path": [{**dict(zip(INKS, tint, strict=True)), "lab": lab} for tint, lab in path],
    }


class Command(JsonCommand):
    help = "Say whether the fade from one code to another holds its hue in print, and what it looks like as a step."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("start", metavar="FROM", help="the code it starts with")
        parser.add_argument("end", metavar="TO", help="the code it ends with")
        parser.add_argument("--series", help="the chart and the notation of this series (default: the classic ones)")
        parser.add_argument("--press", help="press condition (default: the series', or coldset newsprint)")

    def handle(self, *args: Any, **options: Any) -> None:
        as_json = options["json"]
        series = self.series(options["series"], as_json=as_json) if options["series"] else None
        press = self.press(options["press"], series, as_json=as_json)
        start, end = (self._read(options[name], series, as_json) for name in ("start", "end"))
        printed = gradient(press, start, end)
        chart = series.chart if series else CHART_64
        suggestions = suggest_ends(press, start, end, chart.tints)
        notation = notation_of(series)
        if as_json:
            ends = described([start, end], notation, press)
            better = [
                {**named(suggestion.tint, notation), "turn": suggestion.turn, "difference": suggestion.difference}
                for suggestion in suggestions
            ]
            self.say(
                {"from": ends[0], "to": ends[1], "press": press.name, **facts_of(printed), "suggestions": better}
            )
            return
        codes = f"{notation.write(start)} to {notation.write(end)}"
        self.stdout.write(f"{codes} on {press.title}: {printed.words} (hue part of CIEDE2000 {printed.turn:.1f})")
        self.stdout.write(printed.hard_step.words)
        for suggestion in suggestions:
            self.stdout.write(f"  better: to {notation.write(suggestion.tint)} (turns {suggestion.turn:.1f})")
        self.stdout.write("A screen is not a proof: judge print on the house's own proof.")

    def _read(self, text: str, series: Series | None, as_json: bool) -> Tint:
        """A code; it need not be on the chart, as covers may grade freely."""
        try:
            return notation_of(series).read(text)
        except NotationError as error:
            facts = refusal(error)
            self.refuse(f"{text}: {facts.pop('error')}", as_json=as_json, **facts)
