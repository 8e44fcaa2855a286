"""Subjects, costumes, parts and locks from the rows of a table, put into the bible.

At or before the first issue is one thing: a lock from either holds in the same issues, so a table that names the
first issue, or none, finds what is locked there “so already”.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, NamedTuple

from bible.colour.gradients import TintOrGradient
from bible.locks.afresh import lock_afresh
from bible.locks.services import LockToBe, lock_tint
from bible.locks.stretches import Piece, first_position
from bible.models import ActivityKind, ActivityRoom, Costume, Issue, Lock, Part, Series, Subject, record
from bible.models.naming import name_of
from bible.series.running_order import LATEST, RunningOrder
from bible.series.things import title_of
from guides.imports.bible_reading import BibleRow, folded
from guides.imports.fates import Fate, State
from guides.imports.texts import alike

if TYPE_CHECKING:
    from django.contrib.auth.models import User


class BibleTaker:
    """Puts rows into the bible, in one transaction that the caller holds; keeps each row's fate.

    Names are matched letter case aside; what is there already is left as it is.

    Args:
        changes_from: from which issue on a row holds that says another code than is locked, and not from which issue.
            Without it such a row is refused, unless the series has no issues yet.
    """

    def __init__(self, series: Series, by: User, changes_from: Issue | None = None) -> None:
        self.series, self.by, self.changes_from = series, by, changes_from
        self.first, self.order = first_position(series.pk), RunningOrder.of(series)
        self.subjects = {alike(subject.name): subject for subject in series.subjects.all()}
        costumes = Costume.objects.filter(subject__series=series).select_related("subject")
        self.costumes = {(alike(costume.subject.name), alike(costume.name)): costume for costume in costumes}
        parts = Part.objects.filter(costume__subject__series=series).select_related("costume__subject__series")
        self.parts = {folded(part.names): part for part in parts}
        # How many costumes a subject, and parts a costume, has by now: new ones come behind.
        self.ranks = Counter[tuple[str, ...]]((subject,) for subject, _ in self.costumes)
        self.ranks.update(names[:2] for names in self.parts)
        self.standing: dict[tuple[int, str, int | None], list[Lock]] = defaultdict(list)
        for lock in Lock.every_printing.filter(series=series).standing().with_people().order_by("from_position"):
            self.standing[lock.part_id, lock.role, lock.edition_id].append(lock)
        self.locked = {(part, role) for part, role, _ in self.standing}
        self.known: dict[tuple[str, ...], list[str]] = defaultdict(list)
        self.known[()] = [subject.name for subject in self.subjects.values()]
        for (subject, _), costume in self.costumes.items():
            self.known[subject,].append(costume.name)
        for names, part in self.parts.items():
            self.known[names[:-1]].append(part.name)
        self.taken_back = set(series.brought_tables.undone().values_list("undone_at", flat=True))
        self.fates: dict[int, Fate] = {}
        self.new: dict[int, list[int]] = {}
        self.made, self.dated = 0, False

    def take(self, rows: Iterable[BibleRow]) -> list[Fate]:
        fresh: dict[tuple[int, str], list[BibleRow]] = defaultdict(list)
        later: list[tuple[Part, BibleRow]] = []
        rows = list(rows)
        self.dated = any(row.tint and (row.dated or row.end is not None) for row in rows)
        for row in sorted(rows, key=lambda row: (row.start, row.at)):
            part, made = self._named(row)
            if made is None:
                continue
            row = self._with_note(row)
            if row.tint and part and (why := self._wrong_role(part, row.role)):
                self._refuse(row, why)
            elif row.tint is None or part is None:
                words = f"{made} is new." if made else f"{' · '.join(filter(None, row.names))} is there already."
                self._say(row, State.ADDED if made else State.SAME, words)
            elif row.edition or self.standing[part.pk, row.role, None]:
                later.append((part, row))
            else:
                fresh[part.pk, row.role].append(row)
        self._lock_fresh(fresh)
        # Those that name no issue last: they ask what holds once the others are in.
        for part, row in sorted(later, key=lambda pair: not pair[1].dated):
            self._lock_over(part, row)
        if self.made:
            named = {"what": "table", "name": "subjects, costumes and parts"}
            about: dict[str, Any] = {"room": ActivityRoom.SUBJECTS, "series": self.series, "by": self.by}
            record(ActivityKind.BROUGHT_IN, count=self.made, words=named, **about)
        return list(self.fates.values())

    def _say(self, row: BibleRow, state: State, words: str) -> None:
        self.fates[row.at] = row.fate(state, words, self.new.get(row.at, ()))

    def _named(self, row: BibleRow) -> tuple[Part | None, str | None]:
        """The row's part, and what had to be made for it ("" for nothing); None where the row is refused."""
        subject_name, costume_name, part_name = row.names
        subject_key, costume_key, _ = row.key
        made = []
        subject = self.subjects.get(subject_key)
        if subject is None:
            subject = Subject.objects.create(series=self.series, kind=row.kind, name=subject_name, note=row.note)
            self.subjects[subject_key] = subject
            made.append((0, f"{self.series.kinds.name(subject.kind)} {subject_name}"))
        elif self._comes_back(subject):
            made.append((0, f"{self.series.kinds.name(subject.kind)} {subject.name}, again"))
        elif subject.archived_at:
            return self._refuse(row, f"{subject} is archived: bring it back first.")
        part = None
        costume = self._costume(row, subject, made) if costume_name else None
        if costume is not None and costume.archived_at:
            return self._refuse(row, f"{title_of(costume)} is archived: bring it back first.")
        if costume is not None and row.worn is not None and costume.worn != row.worn:
            worn = self.order.worn(costume)
            return self._refuse(row, f"{costume.name} is worn {worn} here: that is changed on its own page.")
        if part_name and costume is not None:
            part = self.parts.get(row.key)
            if part is None:
                rank = self.ranks[subject_key, costume_key]
                self.ranks[subject_key, costume_key] += 1
                part = Part.objects.create(costume=costume, name=part_name, rank=rank)
                self.parts[row.key] = part
                made.append((2, f"part {part_name}"))
            elif self._comes_back(part):
                made.append((2, f"part {part.name}, again"))
            elif part.archived_at:
                return self._refuse(row, f"{part.full_name} is archived: bring it back first.")
        self.made += len(made)
        self.new[row.at] = [place for place, _ in made]
        return part, ", ".join(words for _, words in made)

    def _with_note(self, row: BibleRow) -> BibleRow:
        """What is told of a note that is not taken: a subject has one, and keeps it."""
        if not row.note or row.note == self.subjects[row.key[0]].note:
            return row
        notice = (
            f"Its note “{row.note[:40]}” is left out: {row.names[0]} is there already, and a subject has one note."
        )
        return replace(row, told=" ".join(filter(None, (row.told, notice))))

    def _wrong_role(self, part: Part, role: str) -> str:
        """Why a role is none for a part; what has it locked already keeps it."""
        if (part.pk, role) in self.locked:
            return ""
        return self.series.refused_role(role, part.costume.subject.kind)

    def _costume(self, row: BibleRow, subject: Subject, made: list[tuple[int, str]]) -> Costume:
        """The row's costume; what had to be done for it goes to ``made``."""
        subject_key, costume_key, _ = row.key
        costume = self.costumes.get((subject_key, costume_key))
        if costume is None:
            rank = self.ranks[subject_key,]
            self.ranks[subject_key,] += 1
            costume = Costume.objects.create(subject=subject, name=row.names[1], rank=rank)
            for stretch in row.worn or ():
                costume.stretches.create(said_by=self.by, **stretch._asdict())
            self.costumes[subject_key, costume_key] = costume
            made.append((1, f"costume {costume.name}"))
        elif self._comes_back(costume):
            made.append((1, f"costume {costume.name}, again"))
        return costume

    def _comes_back(self, entry: Subject | Costume | Part) -> bool:
        """Brings back what was archived when a table that had brought it in was taken back."""
        if entry.archived_at not in self.taken_back:
            return False
        entry.archived_at = None
        entry.save(update_fields=["archived_at"])
        return True

    def _refuse(self, row: BibleRow, words: str) -> tuple[None, None]:
        self._say(row, State.WRONG, words)
        return None, None

    def _lock_fresh(self, fresh: dict[tuple[int, str], list[BibleRow]]) -> None:
        """Parts and roles for which nothing stands: all of them in a few statements."""
        decisions = []
        for (part_id, role), rows in fresh.items():
            laid: list[LaidLocks] = []
            for row in rows:
                if agrees([(piece.start, piece.end, _tint(piece.row)) for piece in laid], row):
                    self._say(row, State.SAME, "An earlier line says so already.")
                else:
                    laid = lay(laid, row)
                    self._say(row, State.ADDED, f"{row.names[2]} locked to {row.written}{self._holds(row)}.")
            decisions += [
                LockToBe(part_id, role, _tint(piece.row), piece.row.written, piece.start, piece.end, piece.row.reason)
                for piece in laid
            ]
        lock_afresh(series=self.series, decisions=decisions, by=self.by)

    def _lock_over(self, part: Part, row: BibleRow) -> None:
        """A part and role for which something stands, or an edition's own: superseded where it says otherwise, left
        where it agrees."""
        key = (part.pk, row.role, row.edition.pk if row.edition else None)
        standing = self.standing[key]
        pieces = [(self._begins(lock.from_position), lock.to_position, lock.locked) for lock in standing]
        if self._says_so(pieces, row):
            self._say(row, State.SAME, f"{row.names[2]} is locked to {row.written} already.")
            return
        if self.first and not row.dated and standing:
            if self.changes_from is None:
                last = standing[-1]
                words = f"{last.written} is locked for {row.names[2]}: say from which issue {row.written} holds."
                self._say(row, State.WRONG, words)
                return
            row = replace(row, start=self._begins(self.changes_from.position))
            if row.end is not None and row.end <= row.start:
                self._say(row, State.WRONG, f"It ends before issue {self.changes_from.number}.")
                return
        held = next((lock for lock in standing if holds_at(lock, max(row.start, self.first))), None)
        lock_tint(
            part=part, role=row.role, tint=_tint(row), written=row.written, from_position=row.start,
            to_position=row.end, by=self.by, reason=row.reason, edition=row.edition,
        )  # fmt: skip
        since = (
            f" from issue {self.changes_from.number} on" if self.changes_from and not row.dated else self._holds(row)
        )
        over = f", over {held.written} locked by {name_of(held.decided_by)}" if held else ""
        where = f" in {row.edition}" if row.edition else ""
        words = f"{row.names[2]} locked to {row.written}{where}{since}{over}."
        self._say(row, State.CHANGED if held else State.ADDED, words)
        now = Lock.every_printing.of(part.pk, row.role).of_edition(row.edition).standing()
        self.standing[key] = list(now.with_people().order_by("from_position"))

    def _holds(self, row: BibleRow) -> str:
        """In which issues a row's code holds, in a table whose rows say so: its blanks mean something too."""
        return f", {self.order.span(_Span(row.start, row.end))}" if self.dated else ""

    def _begins(self, position: int) -> int:
        """At the first issue and before it is one thing."""
        return position if position > self.first else 0

    def _says_so(self, standing: list[Piece], row: BibleRow) -> bool:
        """Whether what stands says so already. A row that names no issue may speak of the first one or of now, as the
        bible's own table does, or of the one from which changes hold."""
        if agrees(standing, row):
            return True
        if row.dated or row.end is not None:
            return False
        named = [self._begins(self.changes_from.position)] if self.changes_from else []
        return any(agrees(standing, replace(row, start=position)) for position in (LATEST, *named))


class _Span(NamedTuple):
    from_position: int
    to_position: int | None


def _tint(row: BibleRow) -> TintOrGradient:
    if row.tint is None:
        raise TypeError("a row without a code locks nothing")
    return row.tint


def holds_at(lock: Lock, position: int) -> bool:
    return lock.from_position <= position and (lock.to_position is None or position < lock.to_position)


@dataclass(frozen=True, slots=True)
class LaidLocks:
    """A row and the stretch that is left to it, up to and not including ``end``."""

    row: BibleRow
    start: int
    end: int | None


def lay(laid: list[LaidLocks], row: BibleRow) -> list[LaidLocks]:
    """Lay a row over those before it, as ``lock_tint`` lays a decision over what stands; in running order."""
    end = row.end
    if end is None:
        end = min((piece.start for piece in laid if piece.start > row.start), default=None)
    over: list[LaidLocks] = []
    for piece in laid:
        if (piece.end is not None and piece.end <= row.start) or (end is not None and piece.start >= end):
            over.append(piece)
            continue
        if piece.start < row.start:
            over.append(LaidLocks(piece.row, piece.start, row.start))
        if end is not None and (piece.end is None or piece.end > end):
            over.append(LaidLocks(piece.row, end, piece.end))
    return sorted([*over, LaidLocks(row, row.start, end)], key=lambda piece: piece.start)


def agrees(standing: Iterable[Piece], row: BibleRow) -> bool:
    """Whether what stands for the row's part and role says already what the row says.

    A row without an end speaks of its first issue only: what was decided for later stands.
    """
    reached = row.start
    until = row.end if row.end is not None else row.start + 1
    for start, end, tint in sorted(standing, key=lambda piece: piece[0]):
        if start <= reached and (end is None or reached < end):
            if tint != row.tint:
                return False
            if end is None or end >= until:
                return True
            reached = end
    return False
