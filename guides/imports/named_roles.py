"""Roles said in a part's name, “Coat shade” beside “Coat”: asked, for a lamp's shade is a part. No Django in here."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from guides.imports.questions import Answers, Question, ask
from guides.imports.texts import normal, quoted

KEY = "roles-in-names"


def role_in(name: str, role_words: Mapping[str, str]) -> tuple[str, str]:
    """“Coat (shade)” is (“Coat”, shade); nothing twice where no role stands at its end."""
    head, _, last = name.strip().rpartition(" ")
    role = role_words.get(normal(last.strip("()[],;:-–— ")), "")
    part = head.rstrip("([,;:-–— ")
    return (part, role) if role and part else ("", "")


@dataclass(slots=True)
class NamedRoles:
    """The parts of a table that may be another one's role: their name without it stands there too, or with another
    role at its end."""

    names: dict[str, tuple[str, str]] = field(default_factory=dict)

    @classmethod
    def of(cls, cells: Iterable[str], role_words: Mapping[str, str]) -> NamedRoles:
        pairs = {cell: role_in(cell, role_words) for cell in cells if cell}
        plain = {normal(cell) for cell, (part, _) in pairs.items() if not part}
        roles: dict[str, set[str]] = defaultdict(set)
        for part, role in pairs.values():
            roles[normal(part)].add(role)
        parted = {cell: pair for cell, pair in pairs.items() if pair[0]}
        return cls({
            cell: (part, role)
            for cell, (part, role) in parted.items()
            if normal(part) in plain or len(roles[normal(part)]) > 1
        })  # fmt: skip

    def say(self, values: dict[str, str], answers: Answers) -> None:
        """Take a row's role out of its part's name, where somebody has said that it is one."""
        if answers.get(KEY) == "roles" and not values.get("role") and values.get("part") in self.names:
            values["part"], values["role"] = self.names[values["part"]]

    def questions(self, answers: Answers) -> list[Question]:
        if not self.names:
            return []
        named = quoted(self.names)
        part, role = next(iter(self.names.values()))
        words = f"The names of these parts end in a role: {named}. Are they roles of one part?"
        choices = (("roles", f"yes: the first is the {role} of {part}"), ("parts", "no: each is a part of its own"))
        return [ask(KEY, words, choices, answers)]
