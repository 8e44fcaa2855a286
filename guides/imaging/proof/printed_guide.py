"""A guide that is a print itself: what it knows of a mark beyond its code.

An area of an old printed page holds what its plates held, and the code that somebody read off it only comes near. A
print made from the same plates goes astray from the codes in the same way, so what the guide strays is taken off
before a mark is judged. Paint strays as well, but no print follows it: how far a page's proof follows its guide is
therefore asked of all its marks together, and where it does not, nothing is taken off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from bible.colour.press import PressCondition
from guides.imaging.proof.page_press import PagePress, fit
from guides.imaging.proof.reading import Reading, Unreadable

FloatArray = npt.NDArray[np.float64]

ASKED_FROM = 1.5
"""How many times the variance foretold a page's marks must scatter before the guide is asked."""

FEWEST = 12
"""Marks read on guide and proof below which nobody can say whether one follows the other."""

FOLLOWS = 0.4
"""Share of what the guide strays by which the proof must stray, too: painted guides reach 0.07, printed ones 0.7."""

KNOWN = 0.9
"""The middle mark must stray no more than this share of what it did before."""


def strays(page: PagePress, condition: PressCondition, guide: Sequence[Reading | Unreadable]) -> FloatArray | None:
    """What the guide foretells (n, 3; tones) for the first n marks of a fitted page; None where no proof follows.

    ``guide`` (n): the same marks as they read on the guide; of those that can't be read it foretells nothing.
    """
    read = [mark for mark in guide if isinstance(mark, Reading)]
    rows = np.flatnonzero([isinstance(mark, Reading) for mark in guide])
    if len(read) < FEWEST:
        return None
    tones, noise = (np.array([getattr(mark, name) for mark in read]) for name in ("tone", "noise"))
    own = fit(condition, tones, noise, page.tints[rows], page.at[rows], np.ones(len(rows)))
    astray, known = page.astray()[rows], own.astray()
    slope = _slope(known, astray)
    left = np.median(np.abs(astray - slope * known).max(axis=1))
    if slope < FOLLOWS or left > KNOWN * np.median(np.abs(astray).max(axis=1)):
        return None
    foretold = np.zeros((len(guide), 3))
    foretold[rows] = slope * known
    return foretold


def _slope(known: FloatArray, astray: FloatArray) -> float:
    """Of the line through nothing with the least absolute misses: faults pull it little."""
    known, astray = known.ravel(), astray.ravel()
    ratio = astray / np.where(np.abs(known) < 1e-9, 1e-9, known)
    order = np.argsort(ratio)
    weight = np.cumsum(np.abs(known[order]))
    return float(ratio[order][np.searchsorted(weight, 0.5 * weight[-1])])


def without(reading: Reading, foretold: FloatArray) -> Reading:
    """A reading with what the guide foretold for it (3,) taken off."""
    parts = tuple((tone - foretold, share) for tone, share in reading.parts)
    return replace(reading, tone=reading.tone - foretold, parts=parts)
