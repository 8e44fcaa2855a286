"""What the commands share: JSON on one line, and a refusal that scripts can read."""

from __future__ import annotations

import json
import sys
from typing import Any, NoReturn

from django.core.management.base import BaseCommand, CommandError, CommandParser

from bible.colour import press as presses
from bible.colour.notation import LETTERS_64, Notation, NotationError
from bible.colour.press import DEFAULT_PRESS, PressCondition, UnknownPress
from bible.models import Series
from bible.series.presses import condition
from bible.series.running_order import AsOf

CANNOT = 2
"""Exit status where the question itself cannot be answered, as against 1, “answered, and there is something”."""


class JsonCommand(BaseCommand):
    """A command with ``--json`` whose refusals are JSON too when that was asked for."""

    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--json", action="store_true", help="print JSON")

    def say(self, data: dict[str, Any] | list[Any]) -> None:
        self.stdout.write(json.dumps(data, ensure_ascii=False))

    def refuse(self, message: str, *, as_json: bool, **more: Any) -> NoReturn:
        if as_json:
            self.say({"error": message} | more)
            sys.exit(CANNOT)
        raise CommandError(message, returncode=CANNOT)

    def series(self, slug: str, *, as_json: bool) -> Series:
        series = Series.objects.filter(slug=slug).first()
        if series is None:
            known = ", ".join(Series.objects.values_list("slug", flat=True)[:20]) or "none yet"
            self.refuse(f"There is no series “{slug}”. Series here: {known}.", as_json=as_json)
        return series

    def as_of(self, series: Series, number: str, *, as_json: bool) -> AsOf:
        """As of an issue by its number, of the latest without one; ends the command if there is no such issue."""
        as_of = AsOf.of(series, number)
        if as_of.unknown:
            self.refuse(f"There is no issue {as_of.unknown} in {series}.", as_json=as_json)
        return as_of

    def press(self, name: str | None, series: Series | None, *, as_json: bool) -> PressCondition:
        """The named press condition, else the series' own, else the one that ships as usual."""
        try:
            return condition(series, name or "") if series else presses.load(name or DEFAULT_PRESS)
        except UnknownPress as error:
            self.refuse(str(error.args[0] if error.args else error), as_json=as_json)


def refusal(error: NotationError) -> dict[str, Any]:
    """A code that could not be read, as every command prints it."""
    return {
        "error": error.message,
        "position": error.position,
        "token": error.token,
        "reason": str(error.reason),
        "suggestions": list(error.suggestions),
        "written": error.text,
    }


def notation_of(series: Series | None) -> Notation:
    return series.notation if series else LETTERS_64
