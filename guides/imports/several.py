"""Cells that name more than one thing: “Mara / Tom”, and a look in brackets, “Mara (winter)” or “coat (winter)”.
Asked, for either may be one name. No Django in here."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from guides.imports.grid import GridRow
from guides.imports.named_roles import role_in
from guides.imports.questions import Answers, Question, ask
from guides.imports.retired import says_retired
from guides.imports.texts import alike, listed, quoted

_BETWEEN = re.compile(
    r"\s*[/;,、，；／&＆+＋\n]\s*|\s+(?:and|und|et|y|e|i|en|og|och|и|と)\s+(?!the\b)", re.IGNORECASE
)
_ONE_NAME = re.compile(r"\w{2}")
"""A piece that is a letter or a figure alone, as in “boots l/r”, is no name of its own."""
_BRACKETED = re.compile(r"(\S.*?)\s*[(\[（［]([^()\[\]（）［］]+)[)\]）］]")

Names = Mapping[str, tuple[str, ...]]


def pieces_of(cell: str) -> tuple[str, ...]:
    """The names that a cell holds, if they are several."""
    pieces = tuple(piece.strip() for piece in _BETWEEN.split(cell))
    return pieces if len(pieces) > 1 and all(map(_ONE_NAME.search, pieces)) else ()


@dataclass(slots=True)
class SeveralNames:
    """By cell, the names it may hold; ``looks``: subject and what stands in brackets behind it, ``part_looks``: a
    part and that. ``lines``: where each of these cells stands."""

    subjects: dict[str, tuple[str, ...]] = field(default_factory=dict)
    parts: dict[str, tuple[str, ...]] = field(default_factory=dict)
    looks: dict[str, tuple[str, str]] = field(default_factory=dict)
    part_looks: dict[str, tuple[str, str]] = field(default_factory=dict)
    lines: dict[str, list[int]] = field(default_factory=dict)

    @classmethod
    def of(
        cls,
        rows: Sequence[GridRow],
        columns: Mapping[str, int | None],
        known: Collection[str],
        role_words: Mapping[str, str],
    ) -> SeveralNames:
        """Those among the names of a bible's table that are not known as one.

        Args:
            known: names of the bible, as they are compared.
            role_words: what stands in brackets behind a part and is a role is asked elsewhere.
        """
        names = cls()
        subject, costume, part = (columns.get(name) for name in ("subject", "costume", "part"))
        for row in rows:
            for cell, several in ((row.cell(subject), names.subjects), (row.cell(part), names.parts)):
                if cell and alike(cell) not in known and (pieces := pieces_of(_BRACKETED.sub(r"\1", cell))):
                    several[cell] = pieces
                    names.lines.setdefault(cell, []).append(row.line)
            if row.cell(costume):
                continue
            places = (
                (row.cell(subject), names.looks, names.subjects),
                (row.cell(part), names.part_looks, names.parts),
            )
            for name, looks, several in places:
                look = _BRACKETED.fullmatch(name) if alike(name) not in known and name not in several else None
                if (
                    look
                    and not says_retired(look[2])
                    and not (looks is names.part_looks and role_in(name, role_words)[1])
                ):
                    looks[name] = (look[1], " ".join(look[2].split()))
                    names.lines.setdefault(name, []).append(row.line)
        return names

    def say(self, values: dict[str, str], answers: Answers) -> Iterator[dict[str, str]]:
        """What a row says: once for each name, as somebody has said or, until then, as is likelier."""
        look, how = self.looks.get(values.get("subject", "")), answers.get("looks", "costume")
        if look and not values.get("costume") and how != "name":
            values = values | {"subject": look[0]} | ({"costume": look[1]} if how == "costume" else {})
        look, how = self.part_looks.get(values.get("part", "")), answers.get("part-looks", "costume")
        if look and how != "name":
            values = (
                values
                | {"part": look[0]}
                | ({"costume": values.get("costume") or look[1]} if how == "costume" else {})
            )
        subjects, parts = self.subjects.get(values.get("subject", "")), self.parts.get(values.get("part", ""))
        if subjects and answers.get("several-subjects") == "costume" and len(subjects) == 2:
            values, subjects = values | {"subject": subjects[0], "costume": subjects[1]}, None
        each = (
            subjects
            if subjects and answers.get("several-subjects", "each") == "each"
            else (values.get("subject", ""),)
        )
        every = parts if parts and answers.get("several-parts", "each") == "each" else (values.get("part", ""),)
        for subject in each:
            for part in every:
                yield values | {"subject": subject, "part": part}

    def questions(self, answers: Answers) -> list[Question]:
        asked = []
        if self.subjects:
            choices = [("each", "several: the row counts for each of them"), ("one", "one name")]
            if all(len(names) == 2 for names in self.subjects.values()):
                choices.append(("costume", "a subject, and behind it its costume"))
            words = f"Several subjects seem to stand in one cell ({self._named(self.subjects)}). What are they?"
            asked.append(ask("several-subjects", words, tuple(choices), answers))
        if self.parts:
            choices = [("each", "several: the row counts for each of them"), ("one", "one part")]
            words = f"Several parts seem to stand in one cell ({self._named(self.parts)}). What are they?"
            asked.append(ask("several-parts", words, tuple(choices), answers))
        for key, cells, what, whose, whole in (
            ("looks", self.looks, "a subject", "its costume", "the name"),
            ("part-looks", self.part_looks, "a part", "the costume that the part is of", "the part’s name"),
        ):
            if cells:
                words = f"Something stands in brackets behind {what} ({self._named(cells)}). What is it?"
                choices = [
                    ("costume", whose),
                    ("name", f"a piece of {whole}"),
                    ("remark", "a remark: leave it out"),
                ]
                asked.append(ask(key, words, tuple(choices), answers))
        return asked

    def _named(self, cells: Mapping[str, object]) -> str:
        lines = listed(line for cell in cells for line in self.lines[cell])
        return f"{lines}: {quoted(cells)}"
