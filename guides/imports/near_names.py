"""New names of a table that are nearly those that are there: perhaps typed wrongly. No Django in here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from difflib import get_close_matches

from guides.imports.fates import Fate

ALIKE = 0.8
"""Of difflib's ratio: one letter wrong, missing or changed in a name of four letters and more. Only a question hangs
on it."""
MOST_NOTES = 20
MOST_ASKED = 300
"""New names that are compared; a table that has more begins a bible, where everything is new."""
SORTS = ("subject", "costume", "part")

Known = Mapping[tuple[str, ...], Sequence[str]]
"""Names that are there, by the small-lettered names of what they belong to: () for subjects."""


def near_names(fates: Iterable[Fate], known: Known) -> list[str]:
    """A question for each new name that is nearly one that is there in the same place."""
    asked: set[tuple[str, ...]] = set()
    notes: list[str] = []
    for fate in fates:
        for place in sorted(fate.new):
            name, within = fate.names[place], tuple(one.casefold() for one in fate.names[:place])
            if (*within, name.casefold()) in asked or len(asked) >= MOST_ASKED or len(notes) >= MOST_NOTES:
                continue
            asked.add((*within, name.casefold()))
            there = {other.casefold(): other for other in known.get(within, ())}
            for near in get_close_matches(name.casefold(), there, 1, ALIKE):
                notes.append(
                    f"Line {fate.line}: the {SORTS[place]} “{name}” would be new, and “{there[near]}” is there"
                    " already. If it is the same, write it alike."
                )
    return notes
