"""Words where a subject's name would stand that are none: “All”, and a costume alone below the subject that wears it.
Asked, for somebody may be called so. No Django in here."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from guides.imports.grid import GridRow
from guides.imports.questions import Answers, Question, ask
from guides.imports.several import SeveralNames
from guides.imports.texts import NAMED, alike, listed, quoted

EVERYBODY = frozenset((
    "all", "everyone", "everybody", "all characters", "all subjects", "whole cast", "the cast", "alle",
    "alle figuren",
    "tous", "toutes", "tout le monde", "todos", "todas", "tutti", "tutte", "全員", "皆", "みんな",
))  # fmt: skip
"""In small letters (common practice, no source), as the next."""

LOOKS = frozenset((
    "winter", "summer", "spring", "autumn", "fall", "night", "day", "evening", "rain", "work", "party", "disguise",
    "uniform", "as drawn", "usual", "sommer", "frühling", "herbst", "nacht", "tag", "abend", "regen", "arbeit",
    "hiver",
    "été", "printemps", "automne", "nuit", "jour", "invierno", "verano", "primavera", "otoño", "noche", "inverno",
    "estate", "autunno", "notte", "冬", "夏", "春", "秋", "夜", "冬服", "夏服", "制服",
))  # fmt: skip
"""What costumes are called in many a house."""


@dataclass(slots=True)
class Misplaced:
    """``above``: by line, the subject above a costume that stands alone. ``lines``: where each such word stands."""

    above: dict[int, str] = field(default_factory=dict)
    everybody: dict[str, list[int]] = field(default_factory=dict)
    looks: dict[str, list[int]] = field(default_factory=dict)
    subjects: list[str] = field(default_factory=list)

    @classmethod
    def of(
        cls,
        rows: Sequence[GridRow],
        columns: Mapping[str, int | None],
        known: Collection[str],
        several: SeveralNames,
    ) -> Misplaced:
        """Those among the names of a bible's table that it does not know."""
        misplaced, last, within = cls(), "", False
        costumes = LOOKS | {alike(look) for _, look in several.looks.values()}
        subject, costume = columns.get("subject"), columns.get("costume")
        for row in rows:
            if name := row.cell(subject):
                ours = alike(name) not in known and not row.cell(costume)
                within = ours and bool(last) and alike(name) in costumes
                if ours and alike(name) in EVERYBODY:
                    misplaced.everybody.setdefault(name, []).append(row.line)
                elif within:
                    misplaced.looks.setdefault(name, []).append(row.line)
                else:
                    names = several.subjects.get(name) or (several.looks.get(name, (name,))[0],)
                    misplaced.subjects += [name for name in names if name not in misplaced.subjects]
                    last = names[0]
            if within:
                misplaced.above[row.line] = last
        return misplaced

    def say(self, values: dict[str, str], line: int, answers: Answers) -> Iterator[dict[str, str]]:
        """What a row says: once for each subject that it is for, as somebody has said."""
        name = values.get("subject", "")
        if name in self.everybody and answers.get("everybody", "each") == "each":
            yield from (values | {"subject": subject} for subject in self.subjects)
        elif line in self.above and name in self.looks and answers.get("looks-alone", "above") == "above":
            yield values | {"subject": self.above[line], "costume": values.get("costume") or name}
        else:
            yield values

    def questions(self, answers: Answers) -> list[Question]:
        asked = []
        if self.everybody:
            words = f"{_named(self.everybody)} stands where a subject does. Whom does it mean?"
            each = "each subject of this table: " + ", ".join(self.subjects[:NAMED])
            more = " …" if len(self.subjects) > NAMED else ""
            choices = (("each", f"{each}{more}"), ("one", "a subject of that name"))
            asked.append(ask("everybody", words, choices, answers))
        if self.looks:
            words = f"{_named(self.looks)} stands where a subject does, and reads like a costume. Whose is it?"
            choices = (
                ("above", "the costume of the subject above it"),
                ("subject", "nobody’s: a subject of that name"),
            )
            asked.append(ask("looks-alone", words, choices, answers))
        return asked


def _named(words: Mapping[str, list[int]]) -> str:
    lines = listed(line for numbers in words.values() for line in numbers)
    return f"{quoted(words)} ({lines})"
