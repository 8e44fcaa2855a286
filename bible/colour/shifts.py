"""Shifts: rules that move a tint along its chart, for scenes (night, lamplight) and for shade and highlight.

A shade is often its base and 25 % cyan; a night scene may lay at least 25 % cyan over everything and take yellow
one step down (common practice, no source).
"""

from __future__ import annotations

import enum
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from bible.colour.charts import Chart
from bible.colour.tints import INKS, Tint

INK_NAMES = {"c": "cyan", "m": "magenta", "y": "yellow", "k": "black"}
MAX_STEPS = 8
"""Two for each ink: a longer rule says the same thing twice."""


class Op(enum.StrEnum):
    """What a step does to one ink. The amounts of UP and DOWN are levels of the chart, the others' percentages."""

    ADD = "add"
    LESS = "less"
    AT_LEAST = "at-least"
    AT_MOST = "at-most"
    UP = "up"
    DOWN = "down"


_WORDS = {
    Op.ADD: "{n} % more {ink}",
    Op.LESS: "{n} % less {ink}",
    Op.AT_LEAST: "at least {n} % {ink}",
    Op.AT_MOST: "at most {n} % {ink}",
    Op.UP: "{ink} {n} step{s} up",
    Op.DOWN: "{ink} {n} step{s} down",
}


@dataclass(frozen=True, slots=True)
class Step:
    """One ink's move. ``amount`` is 0-100 % or, for steps up and down, 1-9 levels. Raises ValueError."""

    op: Op
    ink: str
    amount: int

    def __post_init__(self) -> None:
        if self.ink not in INKS:
            raise ValueError(f"{self.ink!r} is not an ink; the inks are {', '.join(INKS)}")
        lowest, highest = (1, 9) if self.op in (Op.UP, Op.DOWN) else (0, 100)
        if isinstance(self.amount, bool) or not isinstance(self.amount, int):
            raise ValueError(f"{self.amount!r} is not a whole number")
        if not lowest <= self.amount <= highest:
            raise ValueError(f"{self.amount} is not between {lowest} and {highest}")

    def apply(self, tint: Tint, chart: Chart) -> Tint:
        match self.op:
            case Op.ADD:
                return chart.add(tint, self.ink, self.amount)
            case Op.LESS:
                return chart.add(tint, self.ink, -self.amount)
            case Op.AT_LEAST:
                return chart.at_least(tint, self.ink, self.amount)
            case Op.AT_MOST:
                return chart.at_most(tint, self.ink, self.amount)
            case Op.UP:
                return chart.step_up(tint, self.ink, self.amount)
            case Op.DOWN:
                return chart.step_down(tint, self.ink, self.amount)

    def __str__(self) -> str:
        return _WORDS[self.op].format(n=self.amount, ink=INK_NAMES[self.ink], s="" if self.amount == 1 else "s")


_INK_OF = {name: ink for ink, name in INK_NAMES.items()}
_READS = {
    op: re.compile(re.escape(words).replace(r"\{n\}", r"(?P<n>\d{1,3})").replace(r"\{ink\}", r"(?P<ink>[a-z]+)")
                   .replace(r"\{s\}", "s?").replace(r"\ %", r"\ ?%"))
    for op, words in _WORDS.items()
}  # fmt: skip


def _step(words: str) -> Step:
    for op, pattern in _READS.items():
        if (match := pattern.fullmatch(words)) and match["ink"] in _INK_OF:
            return Step(op, _INK_OF[match["ink"]], int(match["n"]))
    raise ValueError(
        f"“{words[:60]}” is no step of a rule; one is written as “25 % more cyan” or “yellow 1 step down”"
    )


@dataclass(frozen=True, slots=True)
class Shift:
    """Steps done one after another; without steps nothing moves."""

    steps: tuple[Step, ...] = ()

    def __post_init__(self) -> None:
        if len(self.steps) > MAX_STEPS:
            raise ValueError(f"a rule has at most {MAX_STEPS} steps")

    def __bool__(self) -> bool:
        return bool(self.steps)

    def __str__(self) -> str:
        return ", ".join(map(str, self.steps)) or "nothing changes"

    def apply(self, tint: Tint, chart: Chart) -> Tint:
        """The tint after every step, on the chart. A tint that is not on the chart has no steps to move along and
        stays what it is."""
        if tint not in chart:
            return tint
        for step in self.steps:
            tint = step.apply(tint, chart)
        return tint

    def table(self, chart: Chart) -> dict[Tint, Tint]:
        """Where every tint of the chart goes."""
        return {tint: self.apply(tint, chart) for tint in chart.tints}

    def to_data(self) -> list[list[Any]]:
        """As JSON stores it: [op, ink, amount] for each step."""
        return [[step.op.value, step.ink, step.amount] for step in self.steps]

    @classmethod
    def from_words(cls, text: str) -> Shift:
        """The inverse of ``str``, letter case and odd spaces aside; ValueError for anything else."""
        tidied = " ".join(text.casefold().split())
        if tidied in ("", str(cls())):
            return cls()
        return cls(tuple(_step(piece.strip()) for piece in tidied.split(",")))

    @classmethod
    def from_data(cls, data: Sequence[Sequence[Any]]) -> Shift:
        """The inverse of ``to_data``; ValueError for anything else."""
        try:
            return cls(tuple(Step(Op(op), ink, amount) for op, ink, amount in data))
        except TypeError as error:
            raise ValueError(f"this is not a stored rule: {error}") from error
