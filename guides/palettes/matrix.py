"""The matrix of issues against tints, as arrays.

Counts are of uses, not of printed area: a small badge weighs as much as a sky.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from bible.colour.tints import Tint
from bible.models import Issue

Counts = npt.NDArray[np.int64]
Palette = dict[Tint, int]


@dataclass(frozen=True, eq=False)
class Matrix:
    """``counts[i, t]`` is how often issue ``i`` uses tint ``t``; the tints that are used most come first.

    Issues are in running order and all there, used or not; tints only those that occur. ``unreadable`` (issues,) are
    uses whose code says no tint. ``by_person[p, t]`` are the uses on pages of ``people[p]`` (0: nobody named).
    """

    issues: tuple[Issue, ...]
    tints: tuple[Tint, ...]
    counts: Counts
    unreadable: Counts
    people: tuple[int, ...]
    by_person: Counts

    @cached_property
    def per_tint(self) -> Counts:
        return self.counts.sum(axis=0)

    @property
    def total(self) -> int:
        return int(self.per_tint.sum())

    @property
    def palette(self) -> Palette:
        return dict(zip(self.tints, self.per_tint.tolist(), strict=True))

    def palette_of_places(self, places: Sequence[bool]) -> Palette:
        """The palette of several issues together: those whose place is True."""
        uses = self.counts[np.array(places, dtype=bool)].sum(axis=0).tolist()
        return {tint: n for tint, n in zip(self.tints, uses, strict=True) if n}

    def without_places(self, places: Sequence[bool]) -> tuple[tuple[Issue, ...], Counts]:
        """The other issues and their counts."""
        others = ~np.array(places, dtype=bool)
        return tuple(issue for issue, other in zip(self.issues, others, strict=True) if other), self.counts[others]

    def uses_of(self, tint: Tint) -> list[tuple[Issue, int]]:
        """The issues that use a tint and how often, in running order."""
        if tint not in self.tints:
            return []
        uses = self.counts[:, self.tints.index(tint)]
        return [(self.issues[at], int(uses[at])) for at in np.flatnonzero(uses)]

    @cached_property
    def rows(self) -> list[MatrixRow]:
        """What is to be said of each tint, in the matrix's order."""
        if not self.tints:
            return []
        used = self.counts > 0
        first, last = used.argmax(axis=0), len(self.issues) - 1 - used[::-1].argmax(axis=0)
        most, issue_counts = self.counts.argmax(axis=0), used.sum(axis=0)
        order = np.argsort(-self.by_person, axis=0, kind="stable")
        return [
            MatrixRow(
                tint=tint,
                uses=int(self.per_tint[at]),
                issues=int(issue_counts[at]),
                first=self.issues[first[at]],
                last=self.issues[last[at]],
                most=self.issues[most[at]],
                people=tuple(
                    (self.people[p], int(self.by_person[p, at])) for p in order[:, at] if self.by_person[p, at]
                ),
            )
            for at, tint in enumerate(self.tints)
        ]


@dataclass(frozen=True, slots=True)
class MatrixRow:
    """One tint: how often, in how many issues, from when to when, most in which, and on whose pages."""

    tint: Tint
    uses: int
    issues: int
    first: Issue
    last: Issue
    most: Issue
    people: tuple[tuple[int, int], ...]


def build(issues: Sequence[Issue], place: Counts, tint: Counts, person: Counts, uses: Counts) -> Matrix:
    """A matrix from its entries, four arrays (n,): place in ``issues``, packed tint, person's key, uses.

    Entries of the same place and tint add up; tints and people that add up to nothing are left out; tints below 0 say
    nothing and go to ``unreadable``.
    """
    read = tint >= 0
    unreadable = np.bincount(place[~read], uses[~read], len(issues)).astype(np.int64)
    place, tint, person, uses = place[read], tint[read], person[read], uses[read]
    tints, column = np.unique(tint, return_inverse=True)
    people, who = np.unique(person, return_inverse=True)
    width = len(tints)
    counts = np.bincount(place * width + column, uses, len(issues) * width).astype(np.int64)
    by_person = np.bincount(who * width + column, uses, len(people) * width).astype(np.int64)
    counts, by_person = counts.reshape(len(issues), width), by_person.reshape(len(people), width)
    totals = counts.sum(axis=0)
    order = np.argsort(-totals, kind="stable")[: np.count_nonzero(totals)]
    present = np.flatnonzero(by_person.sum(axis=1))
    return Matrix(
        issues=tuple(issues),
        tints=tuple(Tint.from_packed(int(tints[at])) for at in order),
        counts=counts[:, order],
        unreadable=unreadable,
        people=tuple(people[present].tolist()),
        by_person=by_person[present][:, order],
    )
