"""What is known before a page is looked at: the bible in force at its issue, and the marks of the pages before."""

from __future__ import annotations

from typing import Any

from django.db.models import Q

from bible.colour.tints import Tint
from bible.models import Costume, Lock, Part
from bible.scenes.queries import lit_by
from guides.imaging.writing.bible_file import EarlierMark, PageBible, bible_from_json
from guides.models import Guide, Mark, PageCast, SceneArea

PAGES_BEFORE = 60
"""Pages whose marks say who is likely on this one: two issues. What is older speaks through the bible."""


LockedCodes = list[tuple[int, int, str, Tint]]


def locked_codes(guide: Guide) -> LockedCodes:
    """Part, subject and role of every lock in force at a guide's issue, with its tint."""
    series = guide.series
    locks = Lock.objects.filter(series=series).in_force(guide.issue.position).by_role(series.roles)
    return list(locks.values_list("part", "part__costume__subject", "role", "tint"))


def page_bible(guide: Guide, locked: LockedCodes | None = None) -> PageBible:
    """Every part with its codes in force at the guide's issue, moved by a scene that holds on all of the page; four
    queries whatever the number of parts. Costumes that are out of use there are told as such: a page on which one is
    worn all the same has to be read before anybody can be told."""
    series, position = guide.series, guide.issue.position
    whole = next((area.scene for area in _scenes(guide) if area.is_whole_page), None)
    is_lit = lit_by(whole) if whole else None
    codes: dict[int, dict[str, str]] = {}
    for key, owner, role, tint in locked_codes(guide) if locked is None else locked:
        held = whole.rule.apply(tint, series.chart) if whole and is_lit and is_lit(key, owner, role) else tint
        codes.setdefault(key, {})[role] = series.write(held)
    in_use = set(Costume.objects.filter(subject__series=series).in_use(position).values_list("pk", flat=True))
    parts = Part.objects.of_series(series).with_names()
    subjects: dict[int, dict[str, Any]] = {}
    costumes: dict[int, dict[str, Any]] = {}
    for part in parts:
        of = part.costume.subject
        subject = subjects.setdefault(of.pk, {"id": of.pk, "name": of.name, "kind": of.kind, "costumes": []})
        if part.costume_id not in costumes:
            about = {"id": part.costume_id, "name": part.costume.name, "in_use": part.costume_id in in_use}
            costumes[part.costume_id] = about | {"parts": []}
            subject["costumes"].append(costumes[part.costume_id])
        costumes[part.costume_id]["parts"].append(
            {"id": part.pk, "name": part.name, "roles": codes.get(part.pk, {})}
        )  # fmt: skip
    return bible_from_json({"subjects": list(subjects.values())}, series.notation)


def _scenes(guide: Guide) -> list[SceneArea]:
    return list(SceneArea.objects.filter(guide=guide).standing().select_related("scene").innermost_first())


def said_cast(guide: Guide) -> frozenset[int] | None:
    """The subjects that somebody has said are on a page, as far as they are in use; None where there are none."""
    cast = PageCast.objects.of_page(guide).filter(subject__archived_at=None).values_list("subject", flat=True)
    return frozenset(cast) or None


def earlier_marks(guide: Guide) -> tuple[EarlierMark, ...]:
    """What people confirmed on the pages before, and on this one, in their order: codes that a house let in by itself
    teach nothing."""
    before = Q(issue__position__lt=guide.issue.position) | Q(
        issue__position=guide.issue.position, page_order__lt=guide.page_order
    )
    pages = Guide.objects.filter(before, series=guide.series_id).current().order_by("-issue__position", "-page_order")
    keys = [*pages.values_list("pk", flat=True)[:PAGES_BEFORE], guide.pk]
    marks = Mark.objects.filter(guide__in=keys, deleted_at=None, let_in=False).in_order()
    rows = marks.values_list("guide", "x", "y", "tint", "part", "role", "guide__width", "guide__height")
    return tuple(
        EarlierMark(str(page), x * wide, y * high, tint if isinstance(tint, Tint) else None, part, role)
        for page, x, y, tint, part, role, wide, high in rows
    )
