"""Two codes in one cell, “B / Y”: two inks of one code, or a part's base and its shade. Asked, for both can be read.
No Django in here."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from guides.imports.grid import GridRow
from guides.imports.questions import Answers, Question, ask
from guides.imports.texts import listed

KEY = "parted-codes"
SHADE = "shade"
NAMED = 4
_TWO = re.compile(r"([^/]*\w)\s*/\s*(\w[^/]*)")


@dataclass(frozen=True, slots=True)
class PartedCodes:
    """By line, the two codes of a cell."""

    cells: Mapping[int, tuple[str, str]] = field(default_factory=dict)

    @classmethod
    def of(cls, rows: Iterable[GridRow], column: int | None, reads: Callable[[str], bool]) -> PartedCodes:
        cells = {}
        for row in rows if column is not None else ():
            two = _TWO.fullmatch(row.cell(column))
            if two and all(map(reads, two.groups())):
                cells[row.line] = (two[1], two[2])
        return cls(cells)

    def say(self, values: dict[str, str], line: int, answers: Answers) -> Iterator[dict[str, str]]:
        """What a row says: twice where its cell holds the codes of two roles."""
        if line in self.cells and answers.get(KEY) == "two" and values.get("code"):
            base, shade = self.cells[line]
            yield values | {"code": base}
            yield values | {"code": shade, "role": SHADE}
        else:
            yield values

    def questions(self, answers: Answers) -> list[Question]:
        if not self.cells:
            return []
        first, second = next(iter(self.cells.values()))
        named = ", ".join(dict.fromkeys(f"“{base} / {shade}”" for base, shade in list(self.cells.values())[:NAMED]))
        words = f"{named} ({listed(self.cells)}): is that one code, or two?"
        choices = (
            ("one", f"one code, of all these inks: {first} and {second} printed over each other"),
            ("two", f"two codes: {first} is the base, {second} the shade"),
        )
        return [ask(KEY, words, choices, answers)]
