"""Whether the answer to a form is an honest one: it says what it did, and did what it says."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from tests.walker.fingers import CODE_NAMES, NONSENSE
from tests.walker.rows import Rows
from tests.walker.sight import Button, Form, Page, shape


@dataclass(frozen=True)
class Fault:
    kind: str
    where: str
    words: str
    steps: tuple[str, ...] = ()

    @property
    def key(self) -> tuple[str, str, str]:
        """What makes two faults one: the same thing on every page that shows it."""
        return self.kind, self.where.split(" on ")[0], self.words[:40]

    def __str__(self) -> str:
        return f"{self.kind}: {self.where}: {self.words}" + "".join(f"\n    {step}" for step in self.steps)


@dataclass
class Answer:
    """What came back at the end of all redirects."""

    page: Page
    hops: list[int]
    told: list[tuple[str, str]]
    """Levels and words of what was said across pages."""
    cookies: bool = False
    """Whether something was put into the browser: a choice that is kept there."""
    file: bool = False
    """Whether a file to keep came: the same pack again, where nothing had changed."""


@dataclass(frozen=True)
class Press:
    """A button pressed, or Enter, in a form that was filled in."""

    form: Form
    way: str
    button: Button
    typed: dict[str, str]
    """What was typed otherwise than the page showed, by field."""
    with_files: bool
    was_old: bool
    """Whether rows had changed since the form was seen."""

    @property
    def says_something(self) -> bool:
        """Whether what is sent is another thing than was shown: a blank more or less is not."""
        shown = {one.name: one.value.split() for one in self.form.fields}
        return self.with_files or any(value.split() != shown.get(name) for name, value in self.typed.items())

    @property
    def where(self) -> str:
        form, button = self.form, self.button
        return f"{shape(button.action or form.action)} on {shape(form.page)}, {self.way} “{button.words[:40]}”"


Finding = tuple[str, str, str]


def judge(press: Press, answer: Answer, rows: Rows) -> Iterator[Finding]:
    """Kind, place and words of what is wrong with the answer. A broken page is told elsewhere."""
    first, changed = answer.hops[0], rows.moved
    refused = [words for level, words in answer.told if level in ("error", "warning")] + answer.page.alerts
    if first >= 500:
        return
    if first in (403, 404, 405):
        if not press.was_old:
            yield "offered and refused", press.where, f"{first}: the page shows the form and its address refuses it"
    elif first == 422:
        if not refused:
            yield "refused without words", press.where, f"422, and the page says {answer.page.said}"
        elif changed:
            yield "refused and changed", press.where, f"{sorted(changed)} changed, said {refused[:2]}"
    elif not changed:
        yield from _nothing_changed(press, answer, refused)
    elif not refused:
        yield from _lost(press, rows)


def _came(answer: Answer) -> bool:
    """Whether there is something to show for the press without a word: a choice kept in the browser, a file."""
    return answer.cookies or answer.file


def _nothing_changed(press: Press, answer: Answer, refused: list[str]) -> Iterator[Finding]:
    done = [words for level, words in answer.told if level == "success"]
    if done and press.says_something:
        yield "said and not done", press.where, f"“{done[0]}”, and no row is another one; typed {sorted(press.typed)}"
    elif not (done or answer.told or answer.page.said or refused or _came(answer) or _shows_news(press, answer)):
        yield "silent", press.where, f"{answer.hops}: nothing changed, nothing said; typed {sorted(press.typed)}"


def _shows_news(press: Press, answer: Answer) -> bool:
    """Whether the page in the place of the form's reads otherwise: what it would do, say."""
    return len(answer.hops) == 1 and answer.page.sum != press.form.sum


def _lost(press: Press, rows: Rows) -> Iterator[Finding]:
    """What was written in words of one's own, or as a code, stands somewhere once the answer is a yes."""
    for name, value in press.typed.items():
        is_code = any(name.endswith(one) for one in CODE_NAMES) and value not in NONSENSE
        if (is_code or value.startswith("walked ")) and not rows.wrote(value):
            yield "typed and lost", press.where, f"{name}: the answer is a yes, and what was typed stands nowhere"
