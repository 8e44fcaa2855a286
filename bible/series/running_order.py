"""Running order in words: which issues a stretch of positions covers, and “as of issue N”.

Positions have gaps (65,536), so an issue moves into a gap and only its own marks are resolved anew. ``AsOf``
without a number is the latest issue, and says which.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from bible.models import Costume, Edition, Issue, Series
from bible.models.stretches import HasStretch, Stretch
from bible.series.refusals import Refused

BETWEEN_STRETCHES, BETWEEN_ISSUES = "; ", "-"
"""What stands between stretches in a table's cell, and between the first and last issue of one."""

AFTER = "after"
"""In a table: from whatever comes behind an issue on."""

LATEST = 2**31 - 1
"""“As of now” in a series that has no issue yet: behind every place there is."""


@dataclass(frozen=True)
class RunningOrder:
    """The issues of a series in order, loaded once for a whole page of spans."""

    issues: tuple[Issue, ...]

    @classmethod
    def of(cls, series: Series) -> RunningOrder:
        return cls(tuple(series.issues.in_order()))

    def first_from(self, position: int) -> Issue | None:
        """The first issue at or after a position."""
        index = bisect_left(self.issues, position, key=lambda issue: issue.position)
        return self.issues[index] if index < len(self.issues) else None

    def places(self, stretch: HasStretch) -> tuple[int, int]:
        """Which issues a stretch covers, counted from 0: its first one, and the one behind its last."""
        ends = (stretch.from_position, stretch.to_position)
        first, last = (
            len(self.issues) if end is None else bisect_left(self.issues, end, key=lambda issue: issue.position)
            for end in ends
        )
        return first, last

    def last_before(self, position: int) -> Issue | None:
        """The last issue before a position."""
        index = bisect_left(self.issues, position, key=lambda issue: issue.position)
        return self.issues[index - 1] if index else None

    def span(self, stretch: HasStretch) -> str:
        """“issues 12 to 40”, “from issue 41 on”, “up to issue 11”, “always”."""
        begins = stretch.from_position > (self.issues[0].position if self.issues else 0)
        first = self.first_from(stretch.from_position) if begins else None
        if stretch.to_position is None:
            if not begins:
                return "always"
            return f"from issue {first.number} on" if first else "from the next issue on"
        last = self.last_before(stretch.to_position)
        if last is None or (begins and (first is None or first.position > last.position)):
            return "no issue yet"
        if first is None:
            return f"up to issue {last.number}"
        return f"issue {first.number}" if first == last else f"issues {first.number} to {last.number}"

    def ends(self, stretch: HasStretch) -> tuple[str, str]:
        """The numbers of its first and last issue; empty where it is open, or where there is no such issue."""
        first = self.first_from(stretch.from_position) if stretch.from_position else None
        last = self.last_before(stretch.to_position) if stretch.to_position else None
        return first.number if first else "", last.number if last else ""

    def cells(self, stretch: HasStretch) -> tuple[str | None, str | None]:
        """Its first and last issue as a table says and takes them: no first one where it holds from the first issue
        on, “after 40” where it begins behind every issue."""
        first, last = self.ends(stretch)
        if not self.issues or stretch.from_position <= self.issues[0].position:
            return None, last or None
        return first or f"{AFTER} {self.issues[-1].number}", last or None

    def position_after(self, issue: Issue) -> int:
        """Where a stretch ends that runs up to and including an issue."""
        following = self.first_from(issue.position + 1)
        return following.position if following else issue.position + 1

    def spans(self, stretches: Iterable[HasStretch]) -> str:
        """Several, one after the other: “issues 3 to 5, from issue 8 on”."""
        return ", ".join(self.span(stretch) for stretch in stretches)

    def worn(self, costume: Costume) -> str:
        """When a costume is worn, in words."""
        return self.spans(costume.worn) or "always"

    def worn_cell(self, costume: Costume) -> str:
        """The same by numbers, as a table says it and takes it: “1 - 18; 43; 60 -”; empty for always."""
        pairs = [self.ends(stretch) for stretch in costume.worn]
        return BETWEEN_STRETCHES.join(
            first if first == last else f"{first} {BETWEEN_ISSUES} {last}".strip() for first, last in pairs
        )

    def runs(self, keys: Container[int]) -> str:
        """Some issues by numbers, given by their keys, as a form takes them: “1 - 6; 8”."""
        pieces: list[list[Issue]] = []
        together = False
        for issue in self.issues:
            if issue.pk in keys:
                if not together:
                    pieces.append([])
                pieces[-1].append(issue)
            together = issue.pk in keys
        ends = ((run[0].number, run[-1].number) for run in pieces)
        between = f" {BETWEEN_ISSUES} "
        return BETWEEN_STRETCHES.join(first if first == last else f"{first}{between}{last}" for first, last in ends)

    def read_runs(self, text: str) -> list[Issue]:
        """The issues of “1 - 6; 8”, in running order.

        Raises:
            Refused: a number that no issue has, or a run that ends before it begins.
        """
        places = {issue.number.casefold(): place for place, issue in enumerate(self.issues)}
        wanted: set[int] = set()
        for piece in (piece.strip() for piece in text.replace(",", ";").split(";")):
            if not piece:
                continue
            first, last = self._ends_of(piece, places)
            if last < first:
                raise Refused(f"“{piece}” ends before it begins.")
            wanted |= set(range(first, last + 1))
        return [self.issues[place] for place in sorted(wanted)]

    @staticmethod
    def _ends_of(piece: str, places: Mapping[str, int]) -> tuple[int, int]:
        """A number may hold a hyphen itself, so every one is tried as the one between two numbers."""
        if (alone := places.get(piece.casefold())) is not None:
            return alone, alone
        parts = piece.split(BETWEEN_ISSUES)
        for cut in range(1, len(parts)):
            ends = (BETWEEN_ISSUES.join(some).strip().casefold() for some in (parts[:cut], parts[cut:]))
            first, last = (places.get(end) for end in ends)
            if first is not None and last is not None:
                return first, last
        raise Refused(f"There is no issue “{piece}”.")


def in_force_in(series: Series, stretches: Iterable[tuple[int, int | None]]) -> str:
    """Stretches of positions in words, one after the other: “always”, “issues 3 to 5, from issue 8 on”."""
    return RunningOrder.of(series).spans(Stretch(start, end) for start, end in stretches)


@dataclass(frozen=True)
class AsOf:
    """The moment a bible view speaks of: an issue that was asked for, or the latest one.

    ``issue`` is None only where a series has none yet. ``asked``: the number that was asked for, empty for the
    latest. ``unknown``: a number that no issue has; the latest is meant then. ``edition``: the printing after the
    first that is spoken of; its latest is the last issue it collects.
    """

    issue: Issue | None
    asked: str = ""
    unknown: str = ""
    edition: Edition | None = None

    @property
    def query(self) -> str:
        """What keeps the issue and the edition that were asked for on links: “?issue=3&edition=Album”, or empty."""
        fields = {"issue": self.asked, "edition": self.edition.name if self.edition else ""}
        kept = urlencode({name: value for name, value in fields.items() if value})
        return f"?{kept}" if kept else ""

    @property
    def position(self) -> int:
        return self.issue.position if self.issue else LATEST

    @property
    def number(self) -> str:
        return self.issue.number if self.issue else ""

    @property
    def press_name(self) -> str:
        """The press condition it is printed on; empty where it is the series'."""
        if self.edition:
            return self.edition.press
        return self.issue.press if self.issue and self.asked else ""

    @property
    def edition_name(self) -> str | None:
        """None for the first printing, as a file says it."""
        return self.edition.name if self.edition else None

    def __str__(self) -> str:
        if self.issue is None:
            return "as of now"
        where = f" in the edition {self.edition}" if self.edition else ""
        if self.asked:
            return f"as of issue {self.issue.number}{where}"
        return f"as of issue {self.issue.number}{where}, {'its last' if self.edition else 'the latest'}"

    @classmethod
    def of(cls, series: Series, number: str, edition: Edition | None = None) -> AsOf:
        """From the number somebody asked for; an unknown number means the latest, and is kept to be told."""
        number = number.replace("\0", "").strip()  # PostgreSQL takes no NUL, and no issue is called by one
        issue = series.issues.called(number).first() if number else None
        return cls.at(series, issue, unknown="" if issue else number, edition=edition)

    @classmethod
    def at(
        cls, series: Series, issue: Issue | None = None, unknown: str = "", edition: Edition | None = None
    ) -> AsOf:
        """At an issue, or at the latest: what holds there is what its flags go by, with no look behind it."""
        if issue:
            return cls(issue, asked=issue.number, edition=edition)
        last = (edition and edition.issues.last()) or series.issues.latest_one()
        return cls(last, unknown=unknown, edition=edition)
