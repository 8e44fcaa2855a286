"""How a page lies on its scan: upright, on its head, on its side; and whether two pages lie there."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import cv2
import numpy as np

from guides.imaging.writing.crops import Picture
from guides.imaging.writing.finder import Found
from guides.imaging.writing.hearing import lies_on_its_head
from guides.imaging.writing.lexicon import Lexicon
from guides.imaging.writing.models import Models

LANDSCAPE = 1.05
"""Width by height from which a page may lie on its side: pages are taller than wide (common practice, no source)."""

FEWEST_READ = 3
"""Codes that must read well the other way before a page is said to be turned."""

TIMES = 2
"""So many times as many must read well as do as it lies."""

QUARTERS = {90: 1, 180: 2, 270: 3}
"""Degrees clockwise that a page lies turned, and the quarters anticlockwise that put it right."""

SPREAD = 1.15
"""Width by height from which two pages may lie side by side."""

THUMB = 600
"""Height in pixels at which a scan is looked at for that."""

MIDDLE = (0.4, 0.6)
"""Shares of the width between which the margins of both meet."""

MARGINS = 0.03
"""Share of the width that both margins have together at least: a gutter between panels has half of it."""

EDGES = 0.03
"""Share of the height above and below that may show the scanner's lid."""

STEEP, RARE = 9.0, 0.01
"""Grey levels between neighbours from which something is drawn; the share of a column that it may take."""


DARKER = 30.0
"""Levels of a channel by which bare paper in the fold may be darker than the scan's brightest twentieth."""


def turned_by(
    page: Picture, asked: Sequence[Found], well: int, lexicon: Lexicon, nets: Models, reads: Callable[[Picture], int]
) -> int:
    """Degrees clockwise that a page seems to lie turned: 0, 90, 180 or 270.

    Args:
        asked: what was found on it as it lies; ``well`` how many of these read well.
        reads: says how many codes of a page read well.
    """
    if page.shape[1] >= LANDSCAPE * page.shape[0]:  # first: words that stand upright may read better upside down
        ways = ((reads(np.ascontiguousarray(np.rot90(page, q))), degrees) for degrees, q in QUARTERS.items())
        best, turned = max(ways)
        if best >= max(FEWEST_READ, TIMES * well):
            return turned
    return 180 if lies_on_its_head(page, asked, lexicon, nets) else 0


def holds_two_pages(page: Picture) -> bool:
    """Whether a scan is broad and a broad empty band parts it in the middle, from top to bottom."""
    height, width = page.shape[:2]
    if width < SPREAD * height or height < 100:
        return False
    size = (round(width * THUMB / height), THUMB)
    small = cv2.GaussianBlur(cv2.resize(page, size, interpolation=cv2.INTER_AREA).astype(np.float32), (0, 0), 0.8)
    small = small[round(EDGES * THUMB) : round((1 - EDGES) * THUMB)]
    drawn = (np.abs(np.diff(small, axis=0)) > STEEP).any(axis=2)
    bare = (np.median(small, axis=0) > np.percentile(small, 95, axis=(0, 1)) - DARKER).all(axis=1)
    quiet = (drawn.mean(axis=0) <= RARE) & bare
    inside = quiet[round(MIDDLE[0] * size[0]) : round(MIDDLE[1] * size[0])]
    if inside.all():  # bare all over: nothing says that there are two
        return False
    edges = np.flatnonzero(np.diff(np.r_[0, inside.astype(np.int8), 0]))
    longest = int((edges[1::2] - edges[::2]).max(initial=0))
    return longest >= MARGINS * size[0] and _drawn_on_both_sides(quiet)


def _drawn_on_both_sides(quiet: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> bool:
    half = len(quiet) // 2
    return bool((~quiet[:half]).mean() > 0.3 and (~quiet[half:]).mean() > 0.3)
