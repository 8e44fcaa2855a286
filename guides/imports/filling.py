"""Blanks under a name, filled from above as whoever made the table means them. No Django in here."""

from __future__ import annotations

from guides.imports.questions import Answers, Question, ask
from guides.imports.texts import alike, listed

CHAINS: dict[str, tuple[str, ...]] = {
    "bible": ("subject", "costume", "part"),
    "marks": ("issue", "page"),
    "waivers": ("issue", "page"),
    "assignments": ("issue",),
}
"""Fields whose blanks mean “as above”, each within the one before it."""


class Filler:
    """Goes down a table and fills what is blank in rows that say something more."""

    def __init__(self, kind: str, answers: Answers) -> None:
        self.kind, self.answers = kind, answers
        self.above: dict[str, str] = {}
        self.filled: dict[str, list[int]] = {name: [] for name in CHAINS.get(kind, ())}
        self.costumeless: list[int] = []

    def fill(self, line: int, values: dict[str, str], codes: list[str]) -> None:
        """Fill one row in, in place.

        Args:
            codes: what stands in columns of codes that are not among the fields.
        """
        chain = CHAINS.get(self.kind, ())
        whole = [name for name in values if values[name]] + [code for code in codes if code]
        if self.kind == "bible":
            self._fill_bible(line, values, has_code=bool(values.get("code") or any(codes)))
        elif chain and whole:
            for name in chain:
                if not values.get(name) and self.above.get(name) and len(whole) > 1:
                    values[name] = self.above[name]
                    self.filled[name].append(line)
        if whole:
            here = {name: values.get(name, "") for name in chain}
            if self.kind == "bible" and alike(here["subject"]) == alike(self.above.get("subject", "")):
                here["costume"] = here["costume"] or self.above.get("costume", "")
            self.above = here

    def _fill_bible(self, line: int, values: dict[str, str], *, has_code: bool) -> None:
        more = has_code or any(values.get(name) for name in ("costume", "part", "role", "cyan", "magenta", "yellow"))
        if not values.get("subject"):
            if not more or not self.above.get("subject"):
                return
            self._take(line, values, "subject")
            if not values.get("costume") and self.above.get("costume"):
                self._take(line, values, "costume")
            if not values.get("part") and has_code and values.get("role") and self.above.get("part"):
                self._take(line, values, "part")
            return
        same = alike(values["subject"]) == alike(self.above.get("subject", ""))
        if same and not values.get("costume") and values.get("part") and self.above.get("costume"):
            self.costumeless.append(line)
            if self.answers.get("costumes") == "above":
                values["costume"] = self.above["costume"]

    def _take(self, line: int, values: dict[str, str], name: str) -> None:
        values[name] = self.above[name]
        self.filled[name].append(line)

    def told(self) -> list[str]:
        """What was filled, and where."""
        filled = {name: lines for name, lines in self.filled.items() if lines}
        return [
            f"Where the {name} was blank, the one above counts: {listed(lines)}." for name, lines in filled.items()
        ]

    def questions(self) -> list[Question]:
        """What a blank costume means beside a subject that is named again."""
        if not self.costumeless:
            return []
        where = listed(self.costumeless)
        words = f"No costume is named below rows of the same subject that name one ({where}). Which is meant?"
        choices = (("above", "the costume above"), ("drawn", "none of them: the subject “as drawn”"))
        return [ask("costumes", words, choices, self.answers)]
