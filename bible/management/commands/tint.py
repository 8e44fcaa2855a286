"""``manage.py tint CODE``: what a code means and what it looks like in print."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable
from typing import Any

from django.core.management.base import CommandParser

from bible.colour.notation import NotationError
from bible.colour.press import PressCondition
from bible.colour.tints import Tint
from bible.management.output import CANNOT, JsonCommand, notation_of, refusal
from bible.management.tints import described, line
from bible.models import Series


class Command(JsonCommand):
    help = "Read a tint code (letters or percentages; - reads one a line from standard input) and say how it prints."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("code", nargs="+", help="the code; its pieces may stand apart; - for standard input")
        parser.add_argument("--series", help="read it in the notation and on the chart of this series")
        parser.add_argument("--press", help="press condition (default: the series', or coldset newsprint)")

    def handle(self, *args: Any, **options: Any) -> None:
        as_json = options["json"]
        series = self.series(options["series"], as_json=as_json) if options["series"] else None
        press = self.press(options["press"], series, as_json=as_json)
        if options["code"] == ["-"]:
            for answer in answers((line.rstrip("\r\n") for line in sys.stdin), series, press):
                self.stdout.write(json.dumps(answer, ensure_ascii=False) if as_json else _line(answer))
            return
        [answer] = answers([" ".join(options["code"])], series, press)
        if as_json:
            self.say(answer)
            if "error" in answer:
                sys.exit(CANNOT)
        elif "error" in answer:
            self.refuse(_line(answer), as_json=False)
        else:
            self.stdout.write(_line(answer))


def answers(texts: Iterable[str], series: Series | None, press: PressCondition) -> list[dict[str, Any]]:
    """One answer a text, errors included; all colours are computed at once."""
    notation = notation_of(series)
    read: list[Tint | NotationError] = []
    for text in texts:
        try:
            read.append(series.read(text) if series else notation.read(text))
        except NotationError as error:
            read.append(error)
    colours = iter(described([tint for tint in read if isinstance(tint, Tint)], notation, press))
    return [refusal(tint) if isinstance(tint, NotationError) else next(colours) for tint in read]


def _line(answer: dict[str, Any]) -> str:
    if "error" in answer:
        nearest = f" Nearest on the chart: {', '.join(answer['suggestions'])}." if answer["suggestions"] else ""
        return f"{answer['written']!r}: {answer['error']}{nearest}"
    return line(answer)
