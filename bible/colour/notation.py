"""Notations: how a series writes its tints. The one place where text becomes a ``Tint``, and a ``Tint`` text.

Two forms are read by every notation:

- **letters and steps**, the trade's own: a letter per ink, a figure for its strength, ``YR3B2``; ``W`` is
  bare paper (common practice, no source). The key letter alone means solid black; with a figure it means what
  the series says in its key steps, which none has to begin with, since black line is on no chart.
- **percentages**: C, M, Y, K with a whole percentage each, ``C25 M50 Y100``; a percent sign may follow.

Order, case and white space do not matter in either. A text is in percentages when it holds a percent sign, a
letter of C, M, Y, K that is no letter of the letter form, or, without key steps, the key letter K with a figure.
When all its letters belong to both forms (only Y and K do, unless the series chose more), a figure of two or three
digits that is no step can only be a percentage too: ``Y50``, ``Y100``. Nothing else is guessed: a single figure
that is no step (``R4``, ``Y4``) is an error until the series gives it a meaning with an alias. A series' own
letters may use C, M, Y and K only for their own inks, and a figure of two or more digits only for its own
percentage, so that no text ever has two readings.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NoReturn

from bible.colour.charts import Chart
from bible.colour.notation_errors import NotationError, NotationSettingError, Reason, shown
from bible.colour.notation_scan import MAX_LENGTH, Item, scan
from bible.colour.notation_settings import checked, from_mapping
from bible.colour.suggestions import nearest_readings
from bible.colour.tints import INK_NAMES, INKS, Tint

__all__ = [
    "LETTERS_64",
    "LETTERS_125_70",
    "LETTERS_125_75",
    "MAX_LENGTH",
    "PERCENT",
    "STANDARD_NOTATIONS",
    "Notation",
    "NotationError",
    "NotationSettingError",
    "ReadingChange",
    "Reason",
    "percent_code",
    "read_percentage",
    "readings_that_change",
]

PERCENT_LETTERS = {ink.upper(): ink for ink in INKS}


@dataclass(frozen=True)
class Notation:
    """The letters, steps and aliases of a series.

    Attributes:
        letters: four letters in the order of ``INKS``: cyan, magenta, yellow, key.
        paper: the letter of bare paper.
        order: the inks ("c", "m", "y", "k") in the order they are written.
        steps: (figure, percentage) pairs; the figure "" is the letter alone.
        key_steps: as ``steps``, for key; the figure "" is solid. Empty: key is not coded, as on the usual charts.
        aliases: (letter + figure, percentage) pairs: further figures, for one ink each, only read.
        style: the form ``write`` uses, "letters" or "percent".

    Raises:
        NotationSettingError: the settings contradict each other; it names the field.
    """

    letters: str = "BRYK"
    paper: str = "W"
    order: str = "ymck"
    steps: tuple[tuple[str, int], ...] = (("", 100), ("3", 50), ("2", 25))
    aliases: tuple[tuple[str, int], ...] = ()
    style: str = "letters"
    key_steps: tuple[tuple[str, int], ...] = ()

    def __post_init__(self) -> None:
        for field, value in checked(**vars(self)).items():
            object.__setattr__(self, field, value)

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Notation:
        """The inverse of ``to_dict``; settings left out keep their usual values."""
        return cls(**from_mapping(data))

    def to_dict(self) -> dict[str, Any]:
        """As JSON stores it: letters by ink, steps by figure, aliases by letter and figure. What no key steps are is
        not said, so that programs from before there were any read it too."""
        return {
            "letters": dict(self.letter_of),
            "paper": self.paper,
            "order": self.order,
            "steps": dict(self.steps),
            "aliases": dict(self.aliases),
            "style": self.style,
        } | ({"key_steps": dict(self.key_steps)} if self.key_steps else {})

    @cached_property
    def letter_of(self) -> dict[str, str]:
        """Ink ("c" …) to letter."""
        return dict(zip(INKS, self.letters, strict=True))

    @cached_property
    def ink_of(self) -> dict[str, str]:
        """Letter to ink."""
        return {letter: ink for ink, letter in self.letter_of.items()}

    @cached_property
    def percent_of(self) -> dict[str, int]:
        """Letter + figure to percentage: every step of every ink, the key alone, and the aliases."""
        key = self.letter_of["k"]
        table = {key: 100} | {key + figure: percent for figure, percent in self.key_steps}
        for ink in "cmy":
            table |= {self.letter_of[ink] + figure: percent for figure, percent in self.steps}
        return table | dict(self.aliases)

    @cached_property
    def first_letters(self) -> str:
        """Every letter that a code may begin with, sorted: the inks' and the paper's, and those of percentages."""
        aliases = (alias[0] for alias, _ in self.aliases)
        return "".join(sorted({*self.letters, self.paper, *PERCENT_LETTERS, *aliases}))

    @cached_property
    def figure_of(self) -> dict[int, str]:
        """Percentage to figure."""
        return {percent: figure for figure, percent in self.steps}

    @cached_property
    def key_figure_of(self) -> dict[int, str]:
        """Percentage of key to figure; nothing and solid are always written."""
        return {100: ""} | {percent: figure for figure, percent in self.key_steps}

    @cached_property
    def key_levels(self) -> tuple[int, ...]:
        """The percentages of key that a code may have here; none where black is line art alone."""
        return tuple(percent for _, percent in self.key_steps)

    @cached_property
    def steps_chart(self) -> Chart:
        """The chart the steps span: every combination of cyan, magenta and yellow, and the key steps beside them."""
        grid = Chart.grid("steps", "the steps of this notation", (percent for _, percent in self.steps))
        return grid.with_key(self.key_levels)

    def read(self, text: str, chart: Chart | None = None) -> Tint:
        """The tint that ``text`` means.

        With a ``chart`` the tint must be on it; without one any tint is read.

        Raises:
            NotationError: ``text`` has no reading, with the place, the reason and the nearest codes of the
                chart (without a chart, of the notation's steps). No other exception for any ``str``.
        """
        try:
            return self.read_plain(text, chart)
        except NotationError as error:
            error.suggestions = nearest_readings(self, error, chart or self.steps_chart)
            raise

    def read_plain(self, text: str, chart: Chart | None = None) -> Tint:
        """As ``read``, but its errors carry no suggestions: for many texts whose errors are only counted."""
        if len(text) > MAX_LENGTH:
            _refuse(text, 0, MAX_LENGTH, Reason.TOO_LONG, f"a code has at most {MAX_LENGTH} signs")
        items = scan(text)
        if not items:
            _refuse(text, 0, 0, Reason.NOTHING, "there is no code here")
        tint = self._tint_of(text, items)
        if chart is not None and tint not in chart:
            start, end = items[0].start, items[-1].end
            message = f"{shown(text[start:end])} says {tint}, which is not on the chart “{chart.title}”"
            raise NotationError(
                message,
                text=text,
                position=start,
                token=text[start:end],
                reason=Reason.NOT_ON_CHART,
                tint=tint,
            )
        return tint

    def _tint_of(self, text: str, items: list[Item]) -> Tint:
        certain, likely = self._percent_evidence(items)
        inks: dict[str, int] = {}
        paper = False
        for item, after in zip(items, [*items[1:], None], strict=True):
            if not item.letter:
                self._refuse_stray(text, item)
            if item.letter == self.paper:
                if paper:
                    self._refuse_item(text, item, Reason.INK_TWICE, "paper is given twice")
                if inks:
                    self._refuse_item(text, item, Reason.PAPER_MIXED, "paper can't stand beside an ink")
                if item.figure:
                    self._refuse_item(text, item, Reason.UNKNOWN_STEP, "bare paper takes no figure")
                paper = True
                continue
            ink = self._ink(text, item, percent=certain)
            if paper:
                self._refuse_item(text, item, Reason.PAPER_MIXED, "an ink can't stand beside bare paper")
            if ink in inks:
                self._refuse_item(text, item, Reason.INK_TWICE, f"{INK_NAMES[ink]} is given twice")
            if likely and len(item.figure) < 2:
                message = "a percentage and a letter with its step can't stand in one code"
                self._refuse_item(text, item, Reason.MIXED, message)
            if certain and not item.figure and after and not after.letter:
                self._refuse_stray(text, after)  # "C-5": the sign is the trouble, not a missing figure
            inks[ink] = self._percentage(text, item) if certain or likely else self._step(text, item)
        return Tint(**inks)

    def _percent_evidence(self, items: list[Item]) -> tuple[bool, bool]:
        """Whether the text is certainly in percentages, and whether it is by its long figures alone."""
        used = {item.letter for item in items if item.letter}
        foreign = used & PERCENT_LETTERS.keys() - set(self.letters)
        key_figure = not self.key_steps and any(item.letter == "K" and item.figure for item in items)
        if foreign or key_figure or any(item.signed for item in items):
            return True, False
        shared = bool(used) and used <= PERCENT_LETTERS.keys()
        return False, shared and any(
            len(item.figure) > 1 and item.letter + item.figure not in self.percent_of for item in items
        )

    def _ink(self, text: str, item: Item, *, percent: bool) -> str:
        if percent and item.letter in PERCENT_LETTERS:
            return PERCENT_LETTERS[item.letter]
        if item.letter not in self.ink_of:
            letters = ", ".join(self.letter_of[ink] for ink in self.order)
            message = f"no ink has this letter; the inks are {letters}, paper is {self.paper}"
            self._refuse_item(text, item, Reason.UNKNOWN_LETTER, message)
        if percent:
            message = "the rest of this code is in percentages, which go with the letters C, M, Y and K"
            self._refuse_item(text, item, Reason.MIXED, message)
        return self.ink_of[item.letter]

    def _step(self, text: str, item: Item) -> int:
        percent = self.percent_of.get(item.letter + item.figure)
        if percent is None:
            known = ", ".join(
                f"{code} = {value} %" for code, value in self.percent_of.items() if code[0] == item.letter
            )
            missing = f"the figure {item.figure}" if item.figure else "the letter alone"
            message = f"{missing} has no meaning here; known are {known}"
            self._refuse_item(text, item, Reason.UNKNOWN_STEP, message)
        return percent

    def _percentage(self, text: str, item: Item) -> int:
        if not item.figure:
            self._refuse_item(text, item, Reason.FIGURE_MISSING, "its percentage is missing")
        if not item.figure.isdecimal():
            self._refuse_item(text, item, Reason.NOT_WHOLE, "percentages are whole numbers")
        if len(item.figure) > 3 or int(item.figure) > 100:
            self._refuse_item(text, item, Reason.OUT_OF_RANGE, "a percentage lies between 0 and 100")
        return int(item.figure)

    def _refuse_stray(self, text: str, item: Item) -> NoReturn:
        if item.figure:
            self._refuse_item(text, item, Reason.FIGURE_ALONE, "no letter of an ink stands before this figure")
        self._refuse_item(text, item, Reason.UNKNOWN_CHARACTER, "this sign has no meaning in a code")

    @staticmethod
    def _refuse_item(text: str, item: Item, reason: Reason, message: str) -> NoReturn:
        _refuse(text, item.start, item.end, reason, message)

    def write(self, tint: Tint) -> str:
        """The canonical code of ``tint``, which this notation reads back as the same tint.

        Letters and steps when the style says so and every percentage has a figure; else percentages, with a
        percent sign only where a code would otherwise be read as steps.
        """
        if tint.is_paper:
            return self.paper
        if self.style == "letters":
            named = {ink: self.key_figure_of if ink == "k" else self.figure_of for ink in self.order}
            pieces = {ink: known.get(getattr(tint, ink)) for ink, known in named.items() if getattr(tint, ink)}
            if None not in pieces.values():
                return "".join(f"{self.letter_of[ink]}{figure}" for ink, figure in pieces.items())
        plain = str(tint)
        return plain if self._reads_as(plain, tint) else " ".join(f"{piece}%" for piece in plain.split())

    def _reads_as(self, text: str, tint: Tint) -> bool:
        try:
            return self.read_plain(text) == tint
        except NotationError:
            return False


def _refuse(text: str, start: int, end: int, reason: Reason, why: str) -> NoReturn:
    token = text[start:end]
    message = f"{shown(token)}: {why}" if token and reason is not Reason.TOO_LONG else why
    raise NotationError(message[0].upper() + message[1:], text=text, position=start, token=token, reason=reason)


def read_percentage(text: str) -> int:
    """One percentage on its own, as in a cell of a table: "50", "50 %"; an empty cell is 0.

    Raises:
        NotationError: not a whole number from 0 to 100.
    """
    if len(text) > MAX_LENGTH:
        _refuse(text, 0, MAX_LENGTH, Reason.TOO_LONG, f"a percentage has at most {MAX_LENGTH} signs")
    items = scan(text)
    if not items:
        return 0
    item = items[0]
    if not item.figure or item.letter:
        _refuse(text, item.start, items[-1].end, Reason.UNKNOWN_CHARACTER, "this is not a percentage")
    if len(items) > 1:
        _refuse(text, items[1].start, items[1].end, Reason.UNKNOWN_CHARACTER, "nothing may follow the percentage")
    whole, _, fraction = item.figure.replace(",", ".").partition(".")
    if fraction.strip("0"):
        _refuse(text, item.start, item.end, Reason.NOT_WHOLE, "percentages are whole numbers")
    if len(whole) > 3 or int(whole) > 100:
        _refuse(text, item.start, item.end, Reason.OUT_OF_RANGE, "a percentage lies between 0 and 100")
    return int(whole)


LETTERS_64 = Notation()
"""Letter alone = solid, 3 = 50 %, 2 = 25 % (common practice, no source)."""

LETTERS_125_70 = Notation(steps=(("", 100), ("7", 70), ("3", 50), ("2", 25)))
"""With a fourth strength of 70 %. Its figure 7 is our choice, not the trade's: 4 means two things."""

LETTERS_125_75 = Notation(steps=(("", 100), ("7", 75), ("3", 50), ("2", 25)))
"""With a fourth strength of 75 %, written 7 as above."""

PERCENT = Notation(style="percent")
"""Writes percentages and still reads the letters of the classic chart."""

STANDARD_NOTATIONS: dict[str, Notation] = {
    "letters-64": LETTERS_64,
    "letters-125-70": LETTERS_125_70,
    "letters-125-75": LETTERS_125_75,
    "percent": PERCENT,
}


def percent_code(tint: Tint) -> str:
    """``tint`` in percentages as every standard notation reads it: "C25 M50 Y100", "Y3%"; "W" for paper."""
    return PERCENT.write(tint)


@dataclass(frozen=True)
class ReadingChange:
    """A text that two notations read differently; None stands for "can't be read"."""

    text: str
    before: Tint | None
    after: Tint | None

    @property
    def kind(self) -> str:
        """ "other_tint", "now_unreadable" or "now_readable"."""
        if self.after is None:
            return "now_unreadable"
        return "now_readable" if self.before is None else "other_tint"


def readings_that_change(
    texts: Iterable[str],
    old: Notation,
    new: Notation,
    chart_old: Chart | None = None,
    chart_new: Chart | None = None,
) -> list[ReadingChange]:
    """The distinct ``texts`` that ``old`` and ``new``, each with its chart, read differently, in order."""

    def reading(notation: Notation, text: str, chart: Chart | None) -> Tint | None:
        try:
            return notation.read_plain(text, chart)
        except NotationError:
            return None

    changes = (
        ReadingChange(text, reading(old, text, chart_old), reading(new, text, chart_new))
        for text in dict.fromkeys(texts)
    )
    return [change for change in changes if change.before != change.after]
