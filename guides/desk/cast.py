"""The cast of an issue for typing ahead, and what the issue before says of the same page or subject."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from bible.colour.gradients import Gradient, ends_of
from bible.colour.press import PressCondition
from bible.colour.tints import Tint
from bible.models import Costume, Issue, Lock, Part, Series, Subject, full_name
from guides.models import Guide, Mark

NAMES = ("subject", "costume", "part")

PROPOSED = 60
"""Of the marks of an issue before: a page seldom carries more different codes."""


def cast_of(series: Series, position: int, press: PressCondition) -> list[dict[str, Any]]:
    """Every part whose costume is in use at a position, with its locked codes, base first.

    Two queries whatever the number of parts. ``fill`` is the printed colour, ``fill_to`` what that fades to, empty
    where it is flat; a fade's code is as a mark has it, both codes and no word for where it runs.
    """
    printed: dict[tuple[Tint, Tint | None], dict[str, str]] = {}
    codes: dict[int, list[dict[str, str]]] = defaultdict(list)
    signs = {role.key: role.sign for role in series.roles}
    locks = Lock.objects.filter(series=series).in_force(position).by_role(series.roles)
    for part, role, *ends in locks.values_list("part", "role", "tint", "to_tint"):
        tint, to_tint = both = ends[0], ends[1]
        if both not in printed:
            fills = {"fill": press.hex(tint), "fill_to": press.hex(to_tint) if to_tint else ""}
            printed[both] = {"code": _written(series, tint, to_tint)} | fills
        entry = {"role": role, "role_name": series.roles.name(role), "sign": signs.get(role, "")}
        codes[part].append(entry | printed[both])
    in_use = Part.objects.of_series(series).filter(costume__in=Costume.objects.in_use(position))
    # Rows, not objects: a long series has some thousands of parts, and every page that is opened asks for them.
    return [
        {"id": pk, "name": full_name(*names), **dict(zip(NAMES, names, strict=True)), "codes": codes[pk]}
        for pk, *names in in_use.with_names().values_list("pk", "costume__subject__name", "costume__name", "name")
    ]


def _written(series: Series, tint: Tint, to_tint: Tint | None) -> str:
    """As a mark has it: which way a fade runs its arrow says."""
    return series.write(Gradient(tint, to_tint) if to_tint else tint)


@dataclass(frozen=True, slots=True)
class Proposed:
    """A part and code as an issue before has them. ``now``: the code the bible holds today where that has changed."""

    mark: Mark
    now: str

    @property
    def code(self) -> str:
        """What taking the proposal writes: what the page said, or what the bible says since."""
        return self.now or self.mark.written

    @property
    def saying(self) -> dict[str, str]:
        mark = self.mark
        part = mark.part.full_name if mark.part else ""
        fade = "" if self.now else mark.to_written
        return {"written": self.code, "to_written": fade, "part": part, "role": mark.role}


def issue_before(issue: Issue) -> Issue | None:
    """The nearest earlier issue with marks."""
    earlier = Mark.objects.live().filter(series=issue.series_id, position__lt=issue.position)
    last = earlier.order_by("-position").values_list("position", flat=True).first()
    return None if last is None else Issue.objects.filter(series=issue.series_id, position=last).first()


def proposals(guide: Guide, before: Issue, subject: Subject | None = None) -> list[Proposed]:
    """What the issue before says of this page, or of a subject on any page, each part and code once, in its order.

    Without a subject the page of the same label comes first, then the issue's other pages; parts that this guide has
    already are left out, and so are background marks of other pages.
    """
    marks = Mark.objects.live().filter(series=guide.series_id, position=before.position)
    if subject:
        marks = marks.of_subject(subject.pk)
    had = set(Mark.objects.live().filter(guide=guide).exclude(part=None).values_list("part", "role"))
    chosen: list[int] = []
    seen: set[tuple[object, ...]] = set()
    # Only the few that are proposed are fetched whole: an issue has some two thousand marks.
    rows = list(marks.order_by("page_order", "guide", "number").as_said())
    rows.sort(key=lambda row: row[1] != guide.page)
    for pk, page, *says in rows:
        part, role = says[:2]
        if tuple(says) in seen or (part, role) in had or (part is None and page != guide.page):
            continue
        seen.add(tuple(says))
        chosen.append(pk)
    fetched = Mark.objects.with_names().in_bulk(chosen[:PROPOSED])
    return _with_changes(guide, [fetched[pk] for pk in chosen[:PROPOSED]])


def _with_changes(guide: Guide, marks: list[Mark]) -> list[Proposed]:
    """Names the code in force at the guide's issue where a mark agreed with the bible then and would not now.

    A mark under a scene is left as it was written: its code was moved on purpose.
    """
    parts = {mark.part_id for mark in marks if mark.part_id}
    asked = Part.objects.filter(pk__in=parts).with_locks(guide.issue.position, guide.series.roles)
    locked = {
        (part.pk, lock.role): ends_of(lock.locked)
        for part in asked
        for lock in part.locks_in_force  # type: ignore[attr-defined]
    }
    proposed = []
    for mark in marks:
        ends = locked.get((mark.part_id or 0, mark.role))
        agreed = mark.part_id and mark.flag_kind is None and mark.scene_id is None
        # An arrow that points against a fade meets its codes the other way round and means the same.
        changed = agreed and ends is not None and {*ends} != {mark.tint, mark.to_tint}
        proposed.append(Proposed(mark, _written(guide.series, *ends) if changed and ends else ""))
    return proposed
