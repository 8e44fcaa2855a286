"""What goes wrong with drawn pages between guide and plate: faults of every kind, drawn from a seed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bible.colour.tints import Tint
from tests.guides.imaging.proof.proof_generator import Page


@dataclass(frozen=True)
class Fault:
    """What the plate got instead. ``step`` is where along a fade (0-1) it jumps."""

    kind: str
    tint: Tint
    ink: str | None = None
    step: float | None = None
    to: Tint | None = None


def draw_faults(
    page: Page, seed: int, rate: float = 0.08, levels: tuple[int, ...] = (0, 25, 50, 100)
) -> dict[str, Fault]:
    """Faults for about ``rate`` of the marks, of every kind, each an actual change of ink."""
    rng = np.random.default_rng(seed + 55)
    faults: dict[str, Fault] = {}
    for mark in page.marks:
        area = page.areas[mark.label]
        if rng.random() >= (rate if area.fade is None else max(rate, 0.35)):
            continue
        present = [ink for ink in "cmy" if getattr(area.tint, ink)]
        if area.fade:
            faults[mark.id] = Fault("gradient_step", area.tint, step=float(rng.uniform(0.08, 0.92)), to=area.fade.to)
        elif present:
            faults[mark.id] = _flat_fault(area.tint, present, rng, levels)
    return faults


def _flat_fault(tint: Tint, present: list[str], rng: np.random.Generator, levels: tuple[int, ...]) -> Fault:
    kind = str(
        rng.choice(["colour_missing", "ink_missing", "wrong_strength", "other_colour"], p=[0.3, 0.25, 0.35, 0.1])
    )
    ink = str(rng.choice(present))
    if kind == "ink_missing" and len(present) > 1:
        return Fault(kind, replace(tint, **{ink: 0}), ink)
    if kind == "wrong_strength":
        other = [level for level in levels if level not in (0, getattr(tint, ink))]
        return Fault(kind, replace(tint, **{ink: int(rng.choice(other))}), ink)
    if kind == "other_colour":
        while True:
            drawn = Tint(*(int(v) for v in rng.choice(levels, 3)))
            changed = [i for i in "cmy" if getattr(drawn, i) != getattr(tint, i)]
            if len(changed) >= 2 and not drawn.is_paper:
                return Fault(kind, drawn)
    return Fault("colour_missing", Tint())
