"""What becomes of each row of a table."""

from __future__ import annotations

import enum
import json
from collections.abc import Iterable
from dataclasses import dataclass

from bible.web.digest import digest


class State(enum.StrEnum):
    """``ADDED``: something new is saved. ``CHANGED``: a decision is superseded. ``SAME``: it is so already.
    ``WRONG``: the row cannot be taken and is left out."""

    ADDED = "added"
    CHANGED = "changed"
    SAME = "same"
    WRONG = "wrong"


@dataclass(frozen=True, slots=True)
class Fate:
    """One row's: ``line`` as the person's own program counts it.

    ``names`` are what the row speaks of, in the order of its kind's columns, and ``new`` the places of those among
    them that are not there yet: a name that was typed wrongly is seen by being new.
    """

    line: int
    state: State
    words: str
    names: tuple[str, ...] = ()
    new: frozenset[int] = frozenset()

    @classmethod
    def wrong(cls, line: int, words: str) -> Fate:
        return cls(line, State.WRONG, words)

    def cells(self, columns: int) -> list[tuple[str, bool]]:
        """Each name and whether it is new, for as many columns; empty where the row names nothing."""
        names = (*self.names, *[""] * columns)[:columns]
        return [(name, at in self.new) for at, name in enumerate(names)]


@dataclass(frozen=True, slots=True)
class Fates:
    """Of a whole table, by line. ``notes`` are what to look at before a yes."""

    rows: tuple[Fate, ...]
    notes: tuple[str, ...] = ()

    @classmethod
    def of(cls, fates: Iterable[Fate], notes: Iterable[str] = ()) -> Fates:
        return cls(tuple(sorted(fates, key=lambda fate: fate.line)), tuple(notes))

    def count(self, state: State | str) -> int:
        return sum(fate.state == state for fate in self.rows)

    @property
    def counts(self) -> dict[str, int]:
        return {state.value: self.count(state) for state in State}

    @property
    def taken(self) -> int:
        """Rows that would change something."""
        return self.count(State.ADDED) + self.count(State.CHANGED)

    @property
    def token(self) -> str:
        """Stands for exactly these fates, so that a yes to them is no yes to others."""
        said = [[fate.line, fate.state, fate.words, fate.names, sorted(fate.new)] for fate in self.rows]
        return digest(json.dumps(said))

    def in_state(self, state: State | str) -> tuple[Fate, ...]:
        return tuple(fate for fate in self.rows if fate.state == state)
