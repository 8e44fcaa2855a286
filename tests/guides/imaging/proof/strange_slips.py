"""What a stranger's platemaker gets wrong, for ``strange_press`` to print."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bible.colour.tints import Tint
from tests.guides.imaging.strange_scenes import Patch, Scene


@dataclass(frozen=True)
class Slip:
    """What the plates got instead; ``jump`` where along a fade (0-1) it becomes a step."""

    kind: str
    patch: Patch
    ink: str | None = None
    jump: float | None = None


def draw_slips(
    scene: Scene, seed: int, rate: float = 0.1, levels: tuple[int, ...] = (0, 25, 50, 100)
) -> dict[str, Slip]:
    """Slips of every kind at about ``rate`` of the marks, and at a third of the fades."""
    rng = np.random.default_rng([seed, 505])
    slips: dict[str, Slip] = {}
    for name, (_, _, label) in scene.spots.items():
        patch = scene.patches[label]
        if rng.random() > (0.35 if patch.to else rate):
            continue
        if patch.to:
            slips[name] = Slip("gradient_step", patch, None, float(rng.uniform(0.07, 0.93)))
            continue
        inks = [ink for ink in "cmy" if getattr(patch.tint, ink)]
        if not inks:
            continue
        ink, kind = str(rng.choice(inks)), int(rng.choice(4, p=[0.25, 0.25, 0.4, 0.1]))
        if kind == 0 or (kind == 1 and len(inks) == 1):
            slips[name] = Slip("colour_missing", Patch(Tint()), inks[0] if len(inks) == 1 else None)
        elif kind == 1:
            slips[name] = Slip("ink_missing", Patch(replace(patch.tint, **{ink: 0})), ink)
        elif kind == 2:
            others = [level for level in levels if level and level != getattr(patch.tint, ink)]
            slips[name] = Slip("wrong_strength", Patch(replace(patch.tint, **{ink: int(rng.choice(others))})), ink)
        else:
            far = [
                p.tint
                for p in scene.patches
                if sum(a != b for a, b in zip(p.tint.percentages, patch.tint.percentages, strict=True)) > 1
                and not p.tint.is_paper
            ]
            if far:
                slips[name] = Slip("other_colour", Patch(far[int(rng.integers(len(far)))]))
    return slips
