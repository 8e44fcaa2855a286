"""The numbers of a page's marks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from bible.series.refusals import Refused

HIGHEST_NUMBER = 99_999
"""Of a mark: five figures still fit into its circle. The database's column would take more, and then have no next."""


def numbers_beside(taken: Iterable[int]) -> Iterator[int]:
    """Numbers for new marks of a page, one after the other: on from the highest; at the end of those, the ones that
    were left out.

    Args:
        taken: every number ever given there, those of deleted marks too, so that none is used twice.

    Raises:
        Refused: every number is taken, when one more is asked for.
    """
    taken = set(taken)
    highest = max(taken, default=0)
    yield from range(highest + 1, HIGHEST_NUMBER + 1)
    yield from (number for number in range(1, min(highest, HIGHEST_NUMBER + 1)) if number not in taken)
    raise Refused(f"Every number up to {HIGHEST_NUMBER:,} is taken on this page.")
