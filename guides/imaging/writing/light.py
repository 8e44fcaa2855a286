"""Whether a page stands in a light: whether its codes are those that a scene makes of the bible's.

Every code is asked by itself how much likelier it is under the scene's rule than without; whose it is doesn't matter.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from bible.colour.tints import Tint
from guides.imaging.writing.clues import TINTS

STRAY = 0.25
"""Share of codes that are nobody's, wrong, or lit otherwise than the page (common practice, no source)."""

Readings = Sequence[tuple[Tint, float]]


def speaks_for(codes: Iterable[Readings], plain: Mapping[Tint, int], lit: Mapping[Tint, int]) -> float:
    """Log odds by which a page's codes speak for a light.

    Args:
        codes: what each code may say, with chances.
        plain, lit: how many parts and roles carry each tint as the bible has them, and in that light.
    """
    return sum(float(np.log(_chance(code, lit) / _chance(code, plain))) for code in codes if code)


def _chance(code: Readings, held: Mapping[Tint, int]) -> float:
    total = max(sum(held.values()), 1)
    return sum(p * ((1 - STRAY) * held.get(tint, 0) / total + STRAY / TINTS) for tint, p in code)
