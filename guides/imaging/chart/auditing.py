"""Does each patch print as its label says? Against what all the others say of it, and against what else it might be.

A patch is amiss where another tint explains it far better than its own: a step off in an ink, an ink missing, or the
tint of another patch which in turn has this one's. Only a difference that the scan can show is named.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from bible.colour.condition import PressCondition
from bible.colour.difference import delta_e_2000
from bible.colour.tints import INK_NAMES, INKS, Tint
from guides.imaging.chart.correcting import Correction, Measured, correct

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

SUSPECT = 13.0
"""Squared distance from what the others say, three degrees of freedom, from which a patch is looked into: one sound
patch of two hundred lies there (chi squared)."""

ODDS = 9.0
"""Logarithm of how much likelier another tint must be. Charts have some misprint in a few hundred patches, and each
patch has some ten other tints it might be (common practice, no source)."""

STRANGE = 60.0
"""Squared distance from which a patch is named though nothing explains it: writing, a stain, another ink."""

FLOOR = 0.5
"""CIELAB units: no patch is known better than this, however much alike its neighbours are."""

WORTH = 2.0
"""CIEDE2000 below which a difference is not named: nobody would see it on the sheet."""

DARK = 90
"""Percent of key from which a patch is not looked into: nothing else on a sheet says what prints beneath solid key,
and scanners see little there."""

USUAL = 0.05
"""Share of the patches that have a strength from which it is one of the chart's steps."""

ROUNDS = 3
MOST_SUSPECTS = 0.15
"""Share of the patches that may be set aside as suspect: beyond it the chart as a whole is another one."""


class AmissKind(StrEnum):
    """What is amiss with a patch. The values are stable."""

    STEP = "step"
    INK_MISSING = "ink_missing"
    SWAPPED = "swapped"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class Amiss:
    """What a patch prints like instead of what its label says.

    ``looks_like`` is None where nothing explains it; ``swapped_with`` the index of the patch whose tint it holds;
    ``difference`` CIEDE2000 between what is seen and what the label should print; ``weight`` ranks.
    """

    kind: AmissKind
    said: str
    looks_like: Tint | None
    difference: float
    weight: float
    swapped_with: int | None = None


@dataclass(frozen=True)
class Audit:
    """What is amiss by patch index, the correction without those patches, and what each patch differs by."""

    amiss: dict[int, Amiss]
    correction: Correction


def audit_patches(base: PressCondition, measured: Measured, sd: float, tints: Sequence[Tint]) -> Audit:
    """Look through the patches of a chart; those amiss correct nothing."""
    trusted = np.ones(len(tints), dtype=np.bool_)
    correction = None
    for _ in range(ROUNDS):
        correction = correct(base, measured, sd, trusted, correction)
        distance = _distances(correction, measured, trusted)[0]
        order = np.argsort(-distance)[: max(1, int(MOST_SUSPECTS * len(tints)))]
        again = np.ones(len(tints), dtype=np.bool_)
        again[order[distance[order] > SUSPECT]] = False
        if (again == trusted).all():
            break
        trusted = again
    correction = correct(base, measured, sd, trusted)
    distance, variance = _distances(correction, measured, trusted)
    usual = _usual(tints)
    unlike = np.array([any(getattr(tint, ink) not in usual[ink] for ink in INKS) for tint in tints])
    distance[unlike | (measured.tints[:, 3] >= DARK)] = 0.0  # ramps and greys are ours, not the chart's
    amiss: dict[int, Amiss] = {}
    for at in np.flatnonzero(distance > SUSPECT):
        wrong = _explained(int(at), correction, measured, variance, tints, float(distance[at]))
        if wrong:
            amiss[int(at)] = wrong
    amiss = _swaps(amiss, tints)
    sound = np.array([at not in amiss for at in range(len(tints))])
    return Audit(amiss, correct(base, measured, sd, sound, correction))


def _distances(correction: Correction, measured: Measured, trusted: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Squared distance (n,) of each patch from what the others say, and the variance (n, 3) it is counted in."""
    miss, variance = np.empty_like(measured.lab), np.empty_like(measured.lab)
    miss[trusted], variance[trusted] = correction.left_out()
    if not trusted.all():
        predicted, spread = correction.predict(measured.tints[~trusted])
        miss[~trusted] = measured.lab[~trusted] - predicted
        variance[~trusted] = spread + correction.noise**2 + measured.error[~trusted, None] ** 2
    variance = np.maximum(variance, FLOOR**2)
    return (miss**2 / variance).sum(axis=1), variance


def _others(tint: Tint, tints: Sequence[Tint]) -> list[Tint]:
    """What a patch might hold instead: a step up or down in one ink, one ink gone, or any other patch's tint."""
    others: dict[Tint, None] = {}
    usual = _usual(tints)
    for ink in INKS:
        levels = sorted(usual[ink])
        has = getattr(tint, ink)
        below, above = [step for step in levels if step < has], [step for step in levels if step > has]
        for level in {*below[-1:], *above[:1], *([0] if has else [])}:
            others[replace(tint, **{ink: level})] = None
    others |= dict.fromkeys(other for other in tints if all(getattr(other, ink) in usual[ink] for ink in INKS))
    others.pop(tint, None)
    return list(others)


def _usual(tints: Sequence[Tint]) -> dict[str, set[int]]:
    """The chart's own steps of each ink: a strength that only a ramp has is nobody's slip of a step."""
    least = max(2.0, USUAL * len(tints))
    counts = {ink: Counter(getattr(tint, ink) for tint in tints) for ink in INKS}
    return {ink: {level for level, count in strengths.items() if count >= least} for ink, strengths in counts.items()}


def _explained(
    at: int, correction: Correction, measured: Measured, variance: FloatArray, tints: Sequence[Tint], distance: float
) -> Amiss | None:
    """What is amiss with a patch, if anything."""
    tint, seen = tints[at], measured.lab[at]
    others = _others(tint, tints)
    predicted, spread = correction.predict(
        np.array([candidate.percentages for candidate in (tint, *others)], dtype=np.float64)
    )
    spread = np.maximum(spread + correction.noise**2 + measured.error[at] ** 2, FLOOR**2)
    likely = -0.5 * (((seen - predicted) ** 2 / spread).sum(axis=1) + np.log(spread).sum(axis=1))
    own = -0.5 * (distance + float(np.log(variance[at]).sum()))
    difference = float(delta_e_2000(seen, predicted[0]))
    if difference < WORTH:
        return None
    # Nearest first among what is about as likely: one ink off before three.
    steps = np.array(
        [sum(a != b for a, b in zip(candidate.percentages, tint.percentages, strict=True)) for candidate in others]
    )
    best = int(np.argmax(likely[1:] - 2.0 * (steps - 1)))
    gained = float(likely[1 + best] - own)
    if gained > ODDS:
        kind, words = _words(tint, others[best])
        return Amiss(kind, words, others[best], difference, gained)
    if distance > STRANGE:
        return Amiss(AmissKind.OTHER, "prints like no tint of this chart", None, difference, distance / 2)
    return None


def _words(tint: Tint, other: Tint) -> tuple[AmissKind, str]:
    changed = [ink for ink in INKS if getattr(tint, ink) != getattr(other, ink)]
    if len(changed) > 1:
        return AmissKind.OTHER, f"prints like {other}"
    ink = changed[0]
    if not getattr(other, ink):
        return AmissKind.INK_MISSING, f"{INK_NAMES[ink]} is missing"
    return AmissKind.STEP, f"{INK_NAMES[ink]} prints like {getattr(other, ink)} %, not {getattr(tint, ink)} %"


def _swaps(amiss: dict[int, Amiss], tints: Sequence[Tint]) -> dict[int, Amiss]:
    """Two patches each of which holds the other's tint."""
    out = dict(amiss)
    for at, own in amiss.items():
        for other, its in amiss.items():
            if other > at and own.looks_like == tints[other] and its.looks_like == tints[at]:
                words = "its label and the one of {} are swapped"
                out[at] = replace(own, kind=AmissKind.SWAPPED, said=words.format(tints[other]), swapped_with=other)
                out[other] = replace(its, kind=AmissKind.SWAPPED, said=words.format(tints[at]), swapped_with=at)
    return out
