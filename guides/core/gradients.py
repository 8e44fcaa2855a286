"""Gradient marks: two codes and an arrow, written in one line or in two fields."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from bible.colour.gradients import HOLDS_BELOW, Gradient, gradient, hue_turns, suggest_ends
from bible.colour.press import PressCondition
from bible.colour.tints import Tint, as_array

if TYPE_CHECKING:
    from guides.models import Mark, MarkQuerySet

ARROWS = re.compile(r"\s*(?:-+>|=+>|>|→|⟶)\s*")
"""What people type or write between the two codes of a fade."""

REACH = 0.06
"""Length, as a share of the page's height, of an arrow nobody has drawn yet: enough to take its point and pull."""


def split_code(written: str) -> tuple[str, str]:
    """“YR > Y2” as its two codes; the second is empty where there is not one arrow with a code behind it."""
    codes = ARROWS.split(written.strip())
    if len(codes) == 2 and all(codes):
        return codes[0], codes[1]
    return written, ""


def usual_end(x: float, y: float) -> tuple[float, float]:
    """Where an arrow points that has only its codes: straight down, or up where there is no room below."""
    return (x, y + REACH if y + REACH <= 1.0 else y - REACH)


def moved_end(start: tuple[float, float], end: tuple[float, float], to: tuple[float, float]) -> tuple[float, float]:
    """The arrow's point after its beginning has moved ``to`` another place: it goes along, but stays on the page."""
    shifted = (end[axis] + to[axis] - start[axis] for axis in (0, 1))
    x, y = (min(1.0, max(0.0, value)) for value in shifted)
    return x, y


@dataclass(frozen=True, slots=True)
class Fade:
    """A gradient mark as the press prints it. ``better``: ends that hold the hue, or turn it half as far at most."""

    mark: Mark
    gradient: Gradient
    better: tuple[str, ...]

    @property
    def turns(self) -> bool:
        return not self.gradient.holds_hue


def fade_of(mark: Mark, press: PressCondition) -> Fade | None:
    """Whether a gradient mark holds its hue, and better ends where it does not. None unless both codes are read."""
    start, end = mark.tint, mark.to_tint
    if not (isinstance(start, Tint) and isinstance(end, Tint)):
        return None
    path = gradient(press, start, end)
    ends = () if path.holds_hue else suggest_ends(press, start, end, mark.series.chart.tints)
    return Fade(mark, path, tuple(mark.series.write(found.tint) for found in ends))


def fades_of(marks: Iterable[Mark], press: PressCondition) -> list[Fade]:
    """Gradient marks as fades, in their order; each pair of tints is worked out once.

    Those with a code that is not read are left out.
    """
    known: dict[tuple[object, object], Fade | None] = {}
    for mark in (marks := list(marks)):
        pair = (mark.tint, mark.to_tint)
        if pair not in known:
            known[pair] = fade_of(mark, press)
    of_marks = ((mark, known[mark.tint, mark.to_tint]) for mark in marks)
    return [replace(fade, mark=mark) for mark, fade in of_marks if fade]


def turning(fades: MarkQuerySet, press: PressCondition) -> MarkQuerySet:
    """Those of some fades that turn their hue in print, found by their few distinct pairs of tints."""
    pairs = fades.fade_pairs()
    if not pairs:
        return fades.none()
    starts, ends = (as_array(side) for side in zip(*pairs, strict=True))
    turns = hue_turns(press, starts, ends)
    return fades.with_fade_in(pair for pair, turn in zip(pairs, turns, strict=True) if turn > HOLDS_BELOW)
