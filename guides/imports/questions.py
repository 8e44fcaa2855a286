"""What a table leaves open, asked before anything is saved. No Django in here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

Answers = Mapping[str, str]
"""By the question's key, what somebody chose."""

NO_ANSWERS: Answers = {}


@dataclass(frozen=True, slots=True)
class Question:
    """Something that a person decides. ``choices`` are (value, words); ``given``: what was chosen, or what is taken
    until somebody says otherwise. ``open``: nothing is taken before it is answered. ``about``: what it speaks of,
    line by line."""

    key: str
    words: str
    choices: tuple[tuple[str, str], ...]
    given: str = ""
    about: tuple[str, ...] = ()
    more: tuple[Question, ...] = ()

    @property
    def open(self) -> bool:
        return not self.given

    @property
    def name(self) -> str:
        """Of its field in a form."""
        return f"answer-{self.key}"


def ask(
    key: str,
    words: str,
    choices: tuple[tuple[str, str], ...],
    answers: Answers,
    usual: str = "",
    about: tuple[str, ...] = (),
) -> Question:
    """A question with its answer, if there is one among its choices; else with ``usual``."""
    answer = answers.get(key, "")
    return Question(key, words, choices, answer if answer in dict(choices) else usual, about)


def answers_of(data: Mapping[str, str]) -> dict[str, str]:
    """The answers among what a form sent."""
    return {name.removeprefix("answer-"): data[name] for name in data if name.startswith("answer-") and data[name]}
