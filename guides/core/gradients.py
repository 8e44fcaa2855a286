"""Gradient marks: two codes and an arrow, written in one line or in two fields."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from django.db.models import Case, F, OuterRef, Q, QuerySet, Subquery, Value, When
from django.db.models.functions import Coalesce
from django.db.models.lookups import GreaterThan, LessThan

from bible.colour.gradients import Direction, TintOrGradient
from bible.colour.press import PressCondition
from bible.colour.printed_gradients import HOLDS_BELOW, PrintedGradient, gradient, hue_turns, suggest_ends
from bible.colour.tints import Tint, as_array
from bible.models import SceneTint
from bible.models.fields import NoTint, TintField

if TYPE_CHECKING:
    from bible.colour.charts import Chart
    from bible.models import Lock, LockQuerySet, Scene
    from guides.models import Mark, MarkQuerySet

REACH = 0.06
"""Length, as a share of the page's height, of an arrow nobody has drawn yet: enough to take its point and pull."""


def usual_end(x: float, y: float) -> tuple[float, float]:
    """Where an arrow points that has only its codes: straight down, or up where there is no room below."""
    return (x, y + REACH if y + REACH <= 1.0 else y - REACH)


def moved_end(start: tuple[float, float], end: tuple[float, float], to: tuple[float, float]) -> tuple[float, float]:
    """The arrow's point after its beginning has moved ``to`` another place: it goes along, but stays on the page."""
    shifted = (end[axis] + to[axis] - start[axis] for axis in (0, 1))
    x, y = (min(1.0, max(0.0, value)) for value in shifted)
    return x, y


AGAINST = {
    Direction.DOWN: Q(to_y__lt=F("y")),
    Direction.UP: Q(to_y__gt=F("y")),
    Direction.LEFT: Q(to_x__gt=F("x")),
    Direction.RIGHT: Q(to_x__lt=F("x")),
}
"""Marks whose arrow points against a gradient (``Direction.is_against``)."""


def seen_by(mark: Mark, locked: TintOrGradient) -> tuple[Tint, Tint | None]:
    """What is locked, in the order in which a mark's arrow meets it; no second tint where that is flat."""
    if isinstance(locked, Tint):
        return locked, None
    return locked.seen_along((mark.x, mark.y), mark.arrow_end) if mark.arrow_end else (locked.start, locked.end)


def ways_seen(locked: TintOrGradient) -> list[tuple[tuple[Tint, Tint | None], Q]]:
    """The same for many marks: each order with the marks that see it so; the first that fits is it."""
    if isinstance(locked, Tint):
        return [((locked, None), Q())]
    along = ((locked.start, locked.end), Q())
    return [((locked.end, locked.start), AGAINST[locked.direction]), along] if locked.direction else [along]


def owed_by(locks: LockQuerySet, end: str = "tint") -> QuerySet[Any, Any]:
    """What an outer query's mark owes by the one of these locks that holds for it, where the mark's scene takes it.

    ``end``: "tint" for where a gradient begins, "to_tint" for what it fades to or that it does not; seen along the
    mark's arrow.
    """
    other = "to_tint" if end == "tint" else "tint"
    reversed_for = (
        Q(direction=Direction.DOWN.value) & Q(LessThan(OuterRef("to_y"), OuterRef("y")))
        | Q(direction=Direction.UP.value) & Q(GreaterThan(OuterRef("to_y"), OuterRef("y")))
        | Q(direction=Direction.LEFT.value) & Q(GreaterThan(OuterRef("to_x"), OuterRef("x")))
        | Q(direction=Direction.RIGHT.value) & Q(LessThan(OuterRef("to_x"), OuterRef("x")))
    )
    seen = Case(When(reversed_for, then=F(other)), default=F(end), output_field=TintField())
    moved = SceneTint.objects.filter(scene=OuterRef(OuterRef("scene")), tint=OuterRef("seen")).values("shifted")
    there = Coalesce(Subquery(moved), F("seen"))
    flat = When(to_tint=None, then=Value(NoTint.FLAT.value))
    owed = there if end == "tint" else Case(flat, default=there, output_field=TintField())
    return locks.annotate(seen=seen).annotate(owed=owed).values("owed")[:1]


def owed_from_scratch(mark: Mark, lock: Lock, scene: Scene | None, chart: Chart) -> tuple[Tint, Tint | NoTint]:
    """The tint a mark ought to begin with and the one to fade to, from what is locked and the scene's rule."""
    first, second = lock.tint, lock.to_tint
    arrow = mark.arrow_end
    if second is not None and arrow is not None:
        across, down = arrow[0] - mark.x, arrow[1] - mark.y
        if {"down": down < 0, "up": down > 0, "left": across > 0, "right": across < 0}.get(lock.direction):
            first, second = second, first
    if scene:
        first = scene.rule.apply(first, chart)
        second = scene.rule.apply(second, chart) if second is not None else None
    return first, NoTint.FLAT if second is None else second


@dataclass(frozen=True, slots=True)
class Fade:
    """A gradient mark as the press prints it. ``better``: ends that hold the hue, or turn it half as far at most."""

    mark: Mark
    gradient: PrintedGradient
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
    return Fade(mark, path, tuple(mark.series.write(better.tint) for better in ends))


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
