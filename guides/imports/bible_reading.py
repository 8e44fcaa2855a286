"""What a row of a bible's table says, read against one series: its notation, its issues, its roles and kinds."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from bible.colour.gradients import TintOrGradient, ends_of, read_tint_or_gradient
from bible.colour.notation import NotationError
from bible.models import Edition, Series
from bible.models.roles import BASE_ROLE
from bible.models.stretches import Stretch
from bible.series.forms import explain
from bible.series.refusals import Refused
from bible.series.running_order import AFTER, RunningOrder
from guides.imports.fates import Fate, State
from guides.imports.issue_numbers import Numbered, run_of
from guides.imports.saying import Said, SaidRow
from guides.imports.texts import alike
from guides.imports.worn_cells import read_worn

AS_DRAWN = "as drawn"
"""The costume of what has only one look."""
NAME_LENGTH = 80
_OPEN = frozenset((
    "present", "today", "now", "ongoing", "on going", "open", "current", "currently", "still", "start", "the start",
    "beginning", "first", "always", "ever", "end", "the end", "latest", "heute", "jetzt", "offen", "laufend",
    "anfang",
    "beginn", "immer", "ende", "aujourd'hui", "présent", "en cours", "début", "toujours", "fin", "hoy", "actual",
    "presente", "inicio", "siempre", "oggi", "in corso", "inizio", "sempre", "現在", "継続", "最初", "hoje", "início",
    "heden", "nu", "dziś", "obecnie", "сейчас", "начало", "nutid",
))  # fmt: skip
"""Words for “no end”, or “from the beginning”, in small letters (common practice, no source)."""
REASON_LENGTH = 300
NOTE_LENGTH = 2_000


@dataclass(frozen=True, slots=True)
class BibleRow:
    """A row that has been read. Without ``tint`` it only names a subject, costume or part.

    ``start`` is 0 from the first issue on, whether the row names that issue or none; ``dated`` is whether it does.
    ``worn``: when the costume is worn, where the row says so. ``edition``: in which alone it holds. ``at`` tells rows
    of one line apart; ``told``: how it was understood, where that is not plain.
    """

    line: int
    kind: str
    names: tuple[str, str, str]
    note: str
    role: str
    tint: TintOrGradient | None
    written: str
    start: int
    end: int | None
    reason: str
    dated: bool
    worn: tuple[Stretch, ...] | None = None
    at: int = 0
    told: str = ""
    edition: Edition | None = None

    @property
    def key(self) -> tuple[str, str, str]:
        """Its part, letter case aside."""
        return folded(self.names)

    def fate(self, state: State, words: str, new: Iterable[int] = ()) -> Fate:
        """What becomes of it, with what it speaks of; ``new`` are places in ``names``."""
        role = (self.role,) if self.tint is not None else ()
        return Fate(
            self.line, state, " ".join(filter(None, (words, self.told))), (*self.names, *role), frozenset(new)
        )


class BibleReader:
    """Reads rows against one series: its notation, its issues.

    Args:
        alone: what a single issue means in a column of runs: "only" that issue, or "on" from it; empty where nobody
        has
            said so.
    """

    def __init__(self, series: Series, alone: str = "") -> None:
        self.series, self.alone = series, alone
        self.kinds, self.roles = series.kinds, series.roles
        self.notation, self.chart = series.notation, series.chart
        self.order = RunningOrder.of(series)
        self.numbered = Numbered((issue.number, issue) for issue in self.order.issues)
        self.issues = {issue.number.casefold(): issue for issue in self.order.issues}
        self.first = self.order.issues[0].position if self.order.issues else 0
        self.editions = {alike(edition.name): edition for edition in series.editions.all()}
        self.lone: list[int] = []
        self._tints: dict[str, TintOrGradient | str] = {}

    def read(self, said_row: SaidRow) -> BibleRow | Fate:
        row, values = said_row.row, said_row.said
        if said_row.wrong:
            return Fate.wrong(row.line, said_row.wrong)
        subject, costume, part = (one_line(values[name]) for name in ("subject", "costume", "part"))
        kind = self.kinds.found(values["kind"]) or (self.kinds.current[0] if not values["kind"] else None)
        role = self.roles.found(values["role"] or BASE_ROLE)
        if wrong := self._wrong(values, (subject, costume, part), kind is not None, role is not None):
            return Fate.wrong(row.line, wrong)
        assert kind is not None
        assert role is not None
        stretch = self._apart_in_issues(row.line, values) or self._stretch(*self._ends(row.line, values))
        if isinstance(stretch, str):
            return Fate.wrong(row.line, stretch)
        tint = self._tint(values["code"]) if values["code"] else None
        if isinstance(tint, str):
            return Fate.wrong(row.line, tint)
        names = (subject, costume or (AS_DRAWN if part else ""), part)
        try:
            worn = read_worn(values["worn"], self.issues, self.order) if values["worn"] else None
        except Refused as refusal:
            return Fate.wrong(row.line, str(refusal))
        start, end, dated = stretch
        notice = " ".join((*said_row.told, *self._apart(values, tint)))
        written = self._written(values, tint)
        place = (start, end, values["reason"], dated, worn, said_row.at, notice)
        edition = self.editions.get(alike(values.get("edition", "")))
        return BibleRow(row.line, kind.key, names, values["note"], role.key, tint, written, *place, edition)

    def _wrong(self, values: Said, names: tuple[str, str, str], kind: bool, role: bool) -> str:
        """Why a row cannot be taken whatever its code and issues are; empty where it can."""
        if not names[0]:
            return "It names no subject."
        if values["code"] and not names[2]:
            return "It has a code but no part."
        if (edition := values.get("edition", "")) and alike(edition) not in self.editions:
            return f"There is no edition “{edition[:40]}” in {self.series}."
        if long := next((name for name in names if len(name) > NAME_LENGTH), None):
            return f"“{long[:30]}…” is longer than {NAME_LENGTH} signs."
        if not kind:
            return f"“{values['kind'][:40]}” is no kind; known are {self.kinds.known()}."
        if not role:
            return f"“{values['role'][:40]}” is no role; known are {self.roles.known()}."
        if len(values["reason"]) > REASON_LENGTH or len(values["note"]) > NOTE_LENGTH:
            return f"A reason has at most {REASON_LENGTH} signs, a note {NOTE_LENGTH}."
        return ""

    def _tint(self, code: str) -> TintOrGradient | str:
        """What a code means, or why it means nothing; each text is read once."""
        if code not in self._tints:
            try:
                self._tints[code] = read_tint_or_gradient(code, lambda text: self.notation.read(text, self.chart))
            except NotationError as error:
                self._tints[code] = f"“{code}”: {explain(error)}"
        return self._tints[code]

    def _written(self, values: Said, tint: TintOrGradient | None) -> str:
        """How the code was written: as a column of its own says, where it means the same."""
        other = values.get("written", "")
        return other if other and tint is not None and self._tint(other) == tint else values["code"]

    def _apart(self, values: Said, tint: TintOrGradient | None) -> list[str]:
        """A word where columns of inks say another tint than the code beside them."""
        if not values.get("inks") or tint is None:
            return []
        inks = self._tint(values["inks"])
        return [f"Its columns of inks say {inks}: the code counts."] if inks not in (tint, ends_of(tint)[0]) else []

    def _ends(self, line: int, values: Said) -> tuple[str, str]:
        """The first and last issue as the row says them: in two columns, or as a run in one of them."""
        first, last, both = (_closed(values.get(name, "")) for name in ("first", "last", "issues"))
        if both and not (first or last):
            if self.numbered.get(both) is not None or (run := run_of(both)) is None:
                self.lone.append(line)
                return {"on": (both, ""), "no": ("", "")}.get(self.alone, (both, both))
            return run
        if first and self.numbered.get(first) is None and (run := run_of(first)) and (not last or not run[1]):
            return run[0], run[1] or last
        if last and self.numbered.get(last) is None and (run := run_of(last)) and not run[0]:
            return first, run[1]
        return first, last

    def _apart_in_issues(self, line: int, values: Said) -> str:
        """Why a row names no stretch where a column of runs says another one than the columns of its ends."""
        both = values.get("issues", "")
        if not both or not (values["first"] or values["last"]):
            return ""
        run = None if self.numbered.get(both) is not None else run_of(both)
        apart = self._ends(line, values) != (run or (both, both))
        return f"It says issues {both[:40]} in one column and others beside it." if apart else ""

    def _stretch(self, first: str, last: str) -> tuple[int, int | None, bool] | str:
        """Positions from and up to, not including, and whether it names its first issue; a sentence where an issue is
        not known."""
        word, _, behind = first.partition(" ")
        if alike(word) == AFTER and (before := self.numbered.get(behind)) and not last:
            return self.order.position_after(before), None, True
        begins, ends = (self.numbered.get(number) if number else None for number in (first, last))
        for asked, issue in ((first, begins), (last, ends)):
            if asked and issue is None:
                return f"There is no issue {asked[:40]} in {self.series}."
        if begins and ends and ends.position < begins.position:
            return f"It ends with issue {ends.number}, before it begins with issue {begins.number}."
        end = self.order.position_after(ends) if ends else None
        return begins.position if begins and begins.position > self.first else 0, end, bool(first)


def _closed(number: str) -> str:
    """An issue as it is said; empty where a word says that there is no end, or that it was always so."""
    return "" if alike(number) in _OPEN else number


def one_line(text: str) -> str:
    return " ".join(text.split())


def folded(names: tuple[str, str, str]) -> tuple[str, str, str]:
    """The names of subject, costume and part as they are compared: letter case, odd spaces, quotes and composed
    letters aside."""
    subject, costume, part = map(alike, names)
    return (subject, costume, part)


def contradictions(rows: Iterable[BibleRow]) -> dict[int, Fate]:
    """Rows of one part, role and printing that say different codes for the same issues, by ``BibleRow.at``: neither
    is taken.

    A row without an end holds until the next row's beginning, as a lock does.
    """
    by_key: dict[object, list[BibleRow]] = defaultdict(list)
    for row in rows:
        if row.tint is not None:
            by_key[row.key, row.role, row.edition].append(row)
    fates: dict[int, Fate] = {}  # by the row's own number: several may stand on one line
    for together in by_key.values():
        together.sort(key=lambda row: (row.start, row.at))
        for at, earlier in enumerate(together):
            for other in together[at + 1 :]:
                clash = other.start == earlier.start or (earlier.end is not None and other.start < earlier.end)
                if clash and other.tint != earlier.tint:
                    for mine, theirs in ((earlier, other), (other, earlier)):
                        words = f"Line {theirs.line} says {theirs.written} for the same part, role and issues."
                        fates.setdefault(mine.at, mine.fate(State.WRONG, words))
    return fates
