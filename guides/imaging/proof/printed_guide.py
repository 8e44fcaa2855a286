"""A guide that is a print itself: what it knows of a mark beyond its code.

An area of an old printed page holds what its plates held, and the code that somebody read off it only comes near. A
print made from the same plates goes astray from the codes in the same way, so what the guide strays is taken off
before a mark is judged. Paint strays as well, but no print follows it: how far a page's proof follows its guide is
therefore asked of all its marks together, and where it does not, nothing is taken off.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from bible.colour.press import PressCondition
from guides.imaging.proof.page_press import PagePress, fit
from guides.imaging.proof.reading import Reading

FloatArray = npt.NDArray[np.float64]

ASKED_FROM = 1.5
"""How many times the variance foretold a page's marks must scatter before the guide is asked."""

FEWEST = 12
"""Marks read on guide and proof below which nobody can say whether one follows the other."""

FOLLOWS = 0.4
"""Share of what the guide strays by which the proof must stray, too: painted guides reach 0.07, printed ones 0.7."""

KNOWN = 0.9
"""The middle mark must stray no more than this share of what it did before."""


def strays(
    page: PagePress, condition: PressCondition, rows: npt.NDArray[np.intp], guide: list[Reading]
) -> FloatArray | None:
    """What the guide foretells (n, 3; tones) for marks ``rows`` of a fitted page; None where no proof follows.

    ``guide``: the same marks as they read on the guide.
    """
    if len(guide) < FEWEST:
        return None
    tones, noise = (np.array([getattr(read, name) for read in guide]) for name in ("tone", "noise"))
    own = fit(condition, tones, noise, page.tints[rows], page.at[rows], np.ones(len(rows)))
    astray, known = page.astray()[rows], own.astray()
    slope = _slope(known, astray)
    left = np.median(np.abs(astray - slope * known).max(axis=1))
    if slope < FOLLOWS or left > KNOWN * np.median(np.abs(astray).max(axis=1)):
        return None
    return slope * known


def _slope(known: FloatArray, astray: FloatArray) -> float:
    """Of the line through nothing with the least absolute misses: faults pull it little."""
    known, astray = known.ravel(), astray.ravel()
    ratio = astray / np.where(np.abs(known) < 1e-9, 1e-9, known)
    order = np.argsort(ratio)
    weight = np.cumsum(np.abs(known[order]))
    return float(ratio[order][np.searchsorted(weight, 0.5 * weight[-1])])


def without(readings: Mapping[int, Reading], numbers: list[int], foretold: FloatArray) -> dict[int, Reading]:
    """Readings with what the guide foretold for marks ``numbers`` taken off."""
    taken = dict(readings)
    for number, off in zip(numbers, foretold, strict=True):
        read = readings[number]
        parts = tuple((tone - off, share) for tone, share in read.parts)
        taken[number] = replace(read, tone=read.tone - off, parts=parts)
    return taken
