"""What becomes of each row of a table."""

from __future__ import annotations

import enum
import json
from collections.abc import Iterable
from dataclasses import dataclass

from bible.web.digest import digest
from guides.imports.questions import Question


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
    """Of a whole table, by line. ``notes`` are what to look at before a yes, ``told`` how the table was understood,
    ``unread`` the columns that say nothing to us, ``questions`` what has to be answered before a yes."""

    rows: tuple[Fate, ...]
    notes: tuple[str, ...] = ()
    told: tuple[str, ...] = ()
    unread: tuple[str, ...] = ()
    questions: tuple[Question, ...] = ()

    @classmethod
    def of(cls, fates: Iterable[Fate], notes: Iterable[str] = ()) -> Fates:
        return cls(tuple(sorted(fates, key=lambda fate: fate.line)), tuple(notes))

    @property
    def open(self) -> tuple[Question, ...]:
        """Questions that nobody has answered."""
        return tuple(question for question in self.questions if question.open)

    @property
    def new_names(self) -> list[tuple[str, list[tuple[str, list[str]]]]]:
        """Every name that would be new: subjects with their costumes and those with their parts, each once."""
        subjects: dict[str, dict[str, list[str]]] = {}
        for fate in self.rows:
            for place in sorted(fate.new):
                subject, costume, part = (*fate.names, "", "")[:3]
                label = subject + (" (new)" if place == 0 else "")
                known = next((name for name in (f"{subject} (new)", subject) if name in subjects), label)
                costumes = subjects.setdefault(known, {})
                if place:
                    parts = costumes.setdefault(costume, [])
                    if place > 1 and part not in parts:
                        parts.append(part)
        return [(subject, list(costumes.items())) for subject, costumes in subjects.items()]

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
        content = [[fate.line, fate.state, fate.words, fate.names, sorted(fate.new)] for fate in self.rows]
        return digest(json.dumps(content))

    def in_state(self, state: State | str) -> tuple[Fate, ...]:
        return tuple(fate for fate in self.rows if fate.state == state)
