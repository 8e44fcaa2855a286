"""Merging, moving and re-assigning. Each is one deed: rehearsed like any, noted down step by step, undone as a whole.

What is merged away is archived, with its locks, notes and activity as they were; its marks belong to what it turned
out to be. Nothing is decided anew: where the other has no code, what was locked for it goes on as a copy that keeps
who decided it, when and why.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from itertools import islice
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.db.models import F
from django.utils import timezone

from bible.locks.services import copy_of, follow_base
from bible.locks.stretches import left_open, rule_pieces
from bible.models import (
    ActivityKind,
    ActivityRoom,
    Costume,
    Lock,
    Ownership,
    Part,
    Proposal,
    SceneTarget,
    Series,
    Subject,
    record,
)
from bible.models.roles import BASE_ROLE
from bible.models.stretches import Stretch
from bible.series.holding import hold_series
from bible.series.refusals import Refused
from bible.series.things import title_of
from bible.subjects.wearing import set_worn, together
from guides.core import continuity
from guides.models import Mark, MarkQuerySet, Regrouping

if TYPE_CHECKING:
    from django.contrib.auth.models import User

Thing = Subject | Costume | Part
Pair = tuple[Part, Part]
"""A part that is merged, and the one it turns out to be."""
KEYS_AT_ONCE = 5_000


class Steps:
    """The steps of a deed as it is done: every change is written here in the same breath."""

    def __init__(self, series: Series, by: User, at: dt.datetime) -> None:
        self.series, self.by, self.at = series, by, at
        self.done: list[list[Any]] = []
        # Asked once for all parts of a merge: few have any.
        waiting = Proposal.objects.filter(series=series, state=Proposal.State.WAITING)
        self._asked_for = set(waiting.order_by().values_list("part_id", flat=True))
        self._has_lights = SceneTarget.objects.standing().filter(scene__series=series).exists()

    def change(self, row: Thing, **fields: Any) -> None:
        """Some columns of a subject, costume or part."""
        before = {name: getattr(row, name) for name in fields}
        for name, value in fields.items():
            setattr(row, name, value)
        row.save(update_fields=list(fields))
        self.done.append(["change", row._meta.model_name, row.pk, plain(before), plain(fields)])

    def give_marks(self, marks: MarkQuerySet, source: Part, target: Part) -> int:
        """All of some marks of one part to another. For who resolves both parts' marks after it."""
        versions = [[pk, version + 1] for pk, version in marks.values_list("pk", "version")]
        theirs = Mark.objects.filter(part=source)
        some = [theirs] if len(versions) == theirs.count() else _by_keys(pk for pk, _ in versions)
        if versions:
            self._hand_over((each, target.pk) for each in some)
            self.done.append(["marks", source.pk, target.pk, versions])
        return len(versions)

    def give_all_marks(self, pairs: Sequence[Pair]) -> None:
        """Every mark of the first of each two parts to the second: asked for together."""
        versions: dict[int, list[list[int]]] = defaultdict(list)
        marks = Mark.objects.filter(part__in=[source for source, _ in pairs]).order_by()
        for part, pk, version in marks.values_list("part", "pk", "version"):
            versions[part].append([pk, version + 1])
        marked = [(source.pk, target.pk) for source, target in pairs if source.pk in versions]
        self._hand_over((Mark.objects.filter(part=source), target) for source, target in marked)
        self.done += [["marks", source, target, versions[source]] for source, target in marked]

    def _hand_over(self, given: Iterable[tuple[MarkQuerySet, int]]) -> None:
        continuity.hand_over(given, version=F("version") + 1, changed_by=self.by, changed_at=self.at)

    def add_locks(self, pairs: Sequence[Pair]) -> None:
        """What was locked for one part goes on for another where that has nothing in the same role."""
        for source, target in _with_more_locked(pairs):
            made = [lock.pk for lock in _go_on(source, target, self.by, self.at)]
            if made:
                self.done.append(["locks", source.pk, target.pk, made])

    def put_away(self, parts: Iterable[Part]) -> None:
        """Archive those that are not yet."""
        going = [part for part in parts if part.archived_at is None]
        Part.objects.filter(pk__in=[part.pk for part in going]).update(archived_at=self.at)
        now = plain({"archived_at": self.at})
        self.done += [["change", "part", part.pk, {"archived_at": None}, now] for part in going]

    def give_proposals(self, source: Part, target: Part) -> None:
        if source.pk not in self._asked_for:
            return
        self._asked_for.add(target.pk)
        waiting = Proposal.objects.filter(part=source, state=Proposal.State.WAITING)
        if keys := list(waiting.values_list("pk", flat=True)):
            waiting.update(part=target)
            self.done.append(["proposals", source.pk, target.pk, keys])

    def give_things(self, source: Subject, target: Subject) -> None:
        """What belonged to one subject belongs to another; a thing cannot belong to itself."""
        theirs = Ownership.objects.filter(owner=source).standing().exclude(subject=target)
        if keys := list(theirs.values_list("pk", flat=True)):
            theirs.update(owner=target)
            self.done.append(["things", source.pk, target.pk, keys])

    def give_lights(self, source: Thing, target: Thing) -> None:
        """Scenes that fall on one subject or part fall on another."""
        if not self._has_lights:
            return
        name = str(source._meta.model_name)
        lights = SceneTarget.objects.standing().filter(**{name: source})
        if keys := list(lights.values_list("pk", flat=True)):
            lights.update(**{name: target})
            self.done.append(["lights", name, source.pk, target.pk, keys])

    def wear(self, costume: Costume, worn: Iterable[Stretch]) -> None:
        before = costume.worn
        if set_worn(costume=costume, worn=worn, by=self.by):
            self.done.append(["worn", costume.pk, before, Costume.objects.get(pk=costume.pk).worn])


def _by_keys(keys: Iterable[int]) -> Iterator[MarkQuerySet]:
    """Marks by their keys: quicker than to ask the filter they were chosen by a second time."""
    left = iter(keys)
    while some := list(islice(left, KEYS_AT_ONCE)):
        yield Mark.objects.filter(pk__in=some)


def plain(values: dict[str, Any]) -> dict[str, Any]:
    """As JSON takes them."""
    return {name: value.isoformat() if isinstance(value, dt.datetime) else value for name, value in values.items()}


@contextmanager
def _deed(
    series: Series, parts: Iterable[int], kind: Regrouping.Kind, words: str, by: User, reason: str
) -> Iterator[Steps]:
    """One deed about some parts: held first, resolved and noted down last."""
    hold_series(series.pk)
    steps = Steps(series, by, timezone.now())
    with continuity.expecting_anew(series, parts, by=by, why=words, at=steps.at, regrouped=True):
        yield steps
    if not steps.done:
        raise Refused("Nothing would change by this.")
    fields = {"series": series, "kind": kind, "words": words[:300], "reason": reason, "by": by, "at": steps.at}
    note_down(Regrouping.objects.create(steps=steps.done, **fields), by)


def note_down(regrouping: Regrouping, by: User, *, undone: bool = False) -> None:
    """In the activity, by whom it was done or undone, with how many marks."""
    marks = sum(len(step[3]) for step in regrouping.steps if step[0] == "marks")
    words = {"name": regrouping.words, "reason": regrouping.reason, "undone": "undone" if undone else ""}
    room = ActivityRoom.MARKS if regrouping.kind == Regrouping.Kind.REASSIGN else ActivityRoom.SUBJECTS
    record(ActivityKind.REGROUPED, series=regrouping.series_id, by=by, room=room, count=max(marks, 1), words=words)


def parts_of(*rows: Thing) -> set[int]:
    """The keys of all parts of some subjects, costumes and parts."""
    keys: set[int] = set()
    for row in rows:
        if isinstance(row, Part):
            keys.add(row.pk)
        else:
            above = {"costume": row} if isinstance(row, Costume) else {"costume__subject": row}
            keys |= set(Part.objects.filter(**above).values_list("pk", flat=True))
    return keys


def _refuse_strangers(series: Series, *rows: Thing) -> None:
    for row in rows:
        subject = row if isinstance(row, Subject) else row.subject if isinstance(row, Costume) else None
        subject = subject or row.costume.subject  # type: ignore[union-attr]
        if subject.series_id != series.pk:
            raise Refused(f"{title_of(row)} belongs to another series.")


@transaction.atomic
def merge_subjects(*, source: Subject, target: Subject, by: User, reason: str = "") -> None:
    """Two subjects turn out to be one: what was the first's is the second's from now on, and the first is archived.

    Costumes of one name become one, worn when either was, and so do their parts; the others move as they are.

    Raises:
        Refused: they are one already, or of two series.
    """
    _refuse_strangers(target.series, source)
    if source.pk == target.pk:
        raise Refused(f"{source} cannot be merged with itself.")
    words = f"{source} merged into {target}"
    with _deed(target.series, parts_of(source, target), Regrouping.Kind.MERGE, words, by, reason) as steps:
        known = {costume.name.casefold(): costume for costume in target.costumes.all()}
        pairs: list[Pair] = []
        for costume in source.costumes.all():
            if same := known.get(costume.name.casefold()):
                pairs += _merge_costumes(steps, costume, same)
            else:
                steps.change(costume, subject_id=target.pk, rank=target.costumes.count())
        _merge_parts(steps, pairs)
        steps.give_things(source, target)
        steps.give_lights(source, target)
        if source.archived_at is None:
            steps.change(source, archived_at=steps.at)


def _merge_costumes(steps: Steps, source: Costume, target: Costume) -> Iterator[Pair]:
    """Two costumes become one, but for the parts that both have: these are merged by the caller, all together."""
    if target.archived_at and not source.archived_at:
        steps.change(target, archived_at=None)
    steps.wear(target, together(source.worn, target.worn))
    known = {part.name.casefold(): part for part in target.parts.all()}
    for part in source.parts.all():
        if same := known.get(part.name.casefold()):
            yield part, same
        else:
            steps.change(part, costume_id=target.pk, rank=target.parts.count())
    if source.archived_at is None:
        steps.change(source, archived_at=steps.at)


def _merge_parts(steps: Steps, pairs: Sequence[Pair]) -> None:
    """Each first part into its second, asked and written for all of them together: a subject may have dozens."""
    for source, target in pairs:
        if target.archived_at and not source.archived_at:
            steps.change(target, archived_at=None)
    steps.add_locks(pairs)
    steps.give_all_marks(pairs)
    for source, target in pairs:
        steps.give_proposals(source, target)
        steps.give_lights(source, target)
    steps.put_away(source for source, _ in pairs)


def _with_more_locked(pairs: Sequence[Pair]) -> list[Pair]:
    """Those of which the first part is locked where the second is not: one question instead of some for each."""
    held: dict[tuple[int, int | None, str], list[Stretch]] = defaultdict(list)
    of_both = Lock.every_printing.filter(part__in=[part for pair in pairs for part in pair]).standing()
    for lock in of_both.order_by():
        held[lock.part_id, lock.edition_id, lock.role].append(Stretch(lock.from_position, lock.to_position))

    def is_more(source: Part, target: Part) -> bool:
        theirs = ((*key[1:], stretch) for key, some in held.items() if key[0] == source.pk for stretch in some)
        return any(left_open(stretch, held.get((target.pk, edition, role), ())) for edition, role, stretch in theirs)

    return [pair for pair in pairs if is_more(*pair)]


@transaction.atomic
def merge_parts(*, source: Part, target: Part, by: User, reason: str = "") -> None:
    """Two parts turn out to be one, whoever they belong to. The target's codes hold; where it has none, the other's
    go on."""
    series = target.costume.subject.series
    _refuse_strangers(series, source)
    if source.pk == target.pk:
        raise Refused(f"{source.full_name} cannot be merged with itself.")
    words = f"{source.full_name} merged into {target.full_name}"
    with _deed(series, parts_of(source, target), Regrouping.Kind.MERGE, words, by, reason) as steps:
        _merge_parts(steps, [(source, target)])


@transaction.atomic
def move_costume(
    *, costume: Costume, subject: Subject | None = None, new_name: str = "", by: User, reason: str = ""
) -> None:
    """A costume belongs to another subject: one that is there, or, where two were taken for one, a new one of that
    name and of the same kind."""
    series = costume.subject.series
    made = subject is None
    subject = subject or _split_off(costume.subject, new_name)
    _refuse_strangers(series, subject)
    if subject.pk == costume.subject_id:
        raise Refused(f"{costume} belongs to {subject} already.")
    if subject.costumes.filter(name__iexact=costume.name).exists():
        raise Refused(f"{subject} has a costume “{costume}” already: rename one of them, or merge the subjects.")
    words = f"{title_of(costume)} moved to {subject}"
    with _deed(series, parts_of(costume), Regrouping.Kind.MOVE, words, by, reason) as steps:
        if made:
            steps.done.append(["made", "subject", subject.pk])
        steps.change(costume, subject_id=subject.pk, rank=subject.costumes.count())


def _split_off(subject: Subject, name: str) -> Subject:
    name = " ".join(name.split())
    if not name:
        raise Refused("Say which subject it belongs to, or the name of a new one.")
    if subject.series.subjects.filter(name__iexact=name).exists():
        raise Refused(f"There is a subject “{name}” already: choose it instead.")
    return Subject.objects.create(series=subject.series, kind=subject.kind, name=name)


@transaction.atomic
def move_part(*, part: Part, costume: Costume, by: User, reason: str = "") -> None:
    """A part belongs to another costume, of the same subject or of another. It is worn when that is."""
    series = part.costume.subject.series
    _refuse_strangers(series, costume)
    if part.costume_id == costume.pk:
        raise Refused(f"{part} belongs to {title_of(costume)} already.")
    if costume.parts.filter(name__iexact=part.name).exists():
        raise Refused(f"{title_of(costume)} has a part “{part}” already: merge the two instead.")
    words = f"{part.full_name} moved to {title_of(costume)}"
    with _deed(series, parts_of(part), Regrouping.Kind.MOVE, words, by, reason) as steps:
        steps.change(part, costume_id=costume.pk, rank=costume.parts.count())


@transaction.atomic
def reassign_marks(*, source: Part, target: Part, among: MarkQuerySet, by: User, reason: str = "") -> int:
    """Some marks of one part belong to another. Returns how many.

    Args:
        among: those of the part's marks that are meant, chosen by anything but their part.
    """
    series = target.costume.subject.series
    _refuse_strangers(series, source)
    if source.pk == target.pk:
        raise Refused(f"These marks belong to {target.full_name} already.")
    marks = Mark.objects.filter(part=source, pk__in=among.filter(part=source).order_by().values("pk"))
    words = f"marks of {source.full_name} given to {target.full_name}"
    with _deed(series, parts_of(source, target), Regrouping.Kind.REASSIGN, words, by, reason) as steps:
        given = steps.give_marks(marks, source, target)
        if not given:
            raise Refused("No mark is among these: look at the filter again.")
    return given


def _go_on(source: Part, target: Part, by: User, at: dt.datetime) -> list[Lock]:
    """Copies of the source's locks over what the target's leave open, bases first."""
    made = []
    roles = Lock.every_printing.filter(part=source).standing().order_by().values_list("edition", "role").distinct()
    # The first printing's before an edition's, whose rules may rest on them; bases before what follows them.
    for edition, role in sorted(roles, key=lambda key: (key[0] is not None, key[0] or 0, key[1] != BASE_ROLE)):
        locks = Lock.every_printing.of_edition(edition).standing()
        taken = list(locks.of(target.pk, role).values_list("from_position", "to_position"))
        for lock in locks.of(source.pk, role).select_related("edition"):
            for begins, ends in left_open(Stretch(lock.from_position, lock.to_position), taken):
                columns: dict[str, Any] = {
                    "part_id": target.pk,
                    "from_position": begins,
                    "to_position": ends,
                    "follows": None,
                }
                pieces = rule_pieces(target, lock.rule, begins, ends, lock.edition) if lock.rule_data else []
                if lock.rule_data and pieces != [(begins, ends, lock.locked)]:
                    columns |= {"rule_data": [], "written": target.costume.subject.series.write(lock.locked)}
                made.append(copy_of(lock, **columns))
        if role == BASE_ROLE and made:
            follow_base(target, 0, None, by, at)
    return made
