"""What becomes of each row of a table."""

from __future__ import annotations

import enum
import json
from collections.abc import Iterable
from dataclasses import dataclass

from bible.digest import digest


class State(enum.StrEnum):
    """``ADDED``: something new is saved. ``CHANGED``: a decision is superseded. ``SAME``: it is so already.
    ``WRONG``: the row cannot be taken and is left out."""

    ADDED = "added"
    CHANGED = "changed"
    SAME = "same"
    WRONG = "wrong"


@dataclass(frozen=True, slots=True)
class Fate:
    """One row's: ``line`` as the person's own program counts it."""

    line: int
    state: State
    words: str

    @classmethod
    def wrong(cls, line: int, words: str) -> Fate:
        return cls(line, State.WRONG, words)


@dataclass(frozen=True, slots=True)
class Fates:
    """Of a whole table, by line."""

    rows: tuple[Fate, ...]

    @classmethod
    def of(cls, fates: Iterable[Fate]) -> Fates:
        return cls(tuple(sorted(fates, key=lambda fate: fate.line)))

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
        said = [[fate.line, fate.state, fate.words] for fate in self.rows]
        return digest(json.dumps(said))

    def in_state(self, state: State | str) -> tuple[Fate, ...]:
        return tuple(fate for fate in self.rows if fate.state == state)
