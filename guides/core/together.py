"""Backgrounds that are held together: marks of a part that is the same within an issue or a scene, and for which
nothing is locked, are held against each other.

Of such marks of one part, in one role, in one issue and under one scene, the tint that most of them carry is the
right one, of equals the one that comes first on the pages; what has another is not the same. A gradient is the same
where both its tints are. Where a part is held within scenes, marks outside any scene are held against nothing.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from typing import Any

from django.db.models import (
    BigIntegerField,
    Case,
    Count,
    ExpressionWrapper,
    F,
    Min,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
)
from django.db.models.expressions import Combinable
from django.db.models.functions import Cast, Coalesce
from django.db.models.lookups import Exact

from bible.colour.tints import Tint
from bible.models import Part, Within
from bible.models.fields import NoTint, TintField
from guides.models import Guide, Mark, MarkQuerySet, second_tint

Owed = tuple[Tint | NoTint, Tint | NoTint]
"""What a mark owes, and what it ought to fade to."""
NO_SCENE = 0
"""In the place of a scene's key where there is none."""


def hold_together(marks: MarkQuerySet) -> MarkQuerySet:
    """Resolve the marks that are held against each other in the issues of some marks, after these were resolved.

    Returns the marks that this may have moved: a change of one mark is felt by all others of its background. One
    question and nothing more where no part of any series is held so.
    """
    held = Part.objects.held_together()
    if not held.exists():
        return Mark.objects.none()
    issues = set(marks.order_by().values_list("guide__issue", flat=True).distinct())
    pages = Guide.objects.filter(issue__in=issues).order_by()
    # Not chosen by anything that is written here, since waivers are looked for among them afterwards.
    felt = Mark.objects.filter(part__in=held.order_by().values("pk"), guide__in=pages.values("pk"))
    unlocked = felt.filter(lock=None).exclude(expected=NoTint.OUT_OF_USE)
    now = {"expected": owed(), "expected_to": owed_to()}
    as_it_is = Q(expected=F("now"), expected_to=F("to_now"))
    outdated = unlocked.alias(now=now["expected"], to_now=now["expected_to"]).exclude(as_it_is)
    outdated.order_by().update(**now)
    return felt


def owed() -> Case:
    """What a mark of such a part owes where nothing is locked, as an expression on marks."""
    return Case(
        When(_UNREADABLE, then=Value(NoTint.NO_LOCK.value)),
        *[When(same, then=F("tint")) for same in _same()],
        default=Value(NoTint.NOT_THE_SAME.value),
        output_field=TintField(),
    )


def owed_to() -> Case:
    """What it ought to fade to."""
    flat = Value(NoTint.FLAT.value)
    return Case(
        When(_UNREADABLE, then=flat),
        *[When(same, then=second_tint()) for same in _same()],
        default=flat,
        output_field=TintField(),
    )


_UNREADABLE = Q(tint__lt=0) | Q(to_tint=NoTint.UNREADABLE)


def _same() -> list[Q | Exact]:
    """When a readable mark is right as it is: it does not stand, is held against nothing, or most say the same."""
    free = Q(scene=None, part__in=Part.objects.filter(held_within=Within.SCENE).order_by().values("pk"))
    return [Q(live=False) | free, Exact(_said(), Subquery(_most()))]


def _said() -> Combinable:
    """Both tints of a mark as one number."""
    both = Cast("tint", BigIntegerField()) * Value(2**31, output_field=BigIntegerField()) + Cast(
        second_tint(), BigIntegerField()
    )
    return ExpressionWrapper(both, output_field=BigIntegerField())


def _most() -> QuerySet[Mark, Any]:
    """What most marks say that are held together with one, of equals what comes first on the pages."""
    # The position finds them by the index; the issue says which they are while issues change places.
    others = (
        Mark.objects.live()
        .filter(
            part=OuterRef("part"),
            role=OuterRef("role"),
            position=OuterRef("position"),
            guide__issue__guides=OuterRef("guide"),
            tint__gte=0,
        )
        .exclude(to_tint=NoTint.UNREADABLE)
    )
    others = others.alias(under=Coalesce("scene", Value(NO_SCENE))).filter(
        under=Coalesce(OuterRef("scene"), Value(NO_SCENE))
    )
    readings = others.annotate(said=_said()).order_by().values("said")
    counted = readings.annotate(n=Count("pk"), page=Min("page_order"), first=Min("pk"))
    return counted.order_by("-n", "page", "first").values("said")[:1]


def derived_together(marks: Iterable[Mark], scene_of: dict[int, int | None]) -> dict[int, Owed]:
    """The plain derivation: what marks of such parts, for which nothing is locked, owe by each other; by loops.

    Args:
        marks: all of a series, with guide and issue; their tints read anew.
        scene_of: the scene that holds for each mark, by its key.
    """
    within = dict(Part.objects.held_together().values_list("pk", "held_within"))
    groups: dict[tuple[object, ...], list[Mark]] = defaultdict(list)
    owing: dict[int, Owed] = {}
    for mark in marks:
        if mark.part_id not in within:
            continue
        scene = scene_of[mark.pk]
        live = mark.guide.stands and mark.deleted_at is None
        if not isinstance(mark.tint, Tint) or mark.to_tint == NoTint.UNREADABLE:
            owing[mark.pk] = (NoTint.NO_LOCK, NoTint.FLAT)
        elif not live or (scene is None and within[mark.part_id] == Within.SCENE):
            owing[mark.pk] = _as_marked(mark)
        else:
            groups[mark.guide.issue_id, mark.part_id, mark.role, scene].append(mark)
    for group in groups.values():
        tally = Counter((mark.tint, mark.to_tint) for mark in group)
        first = {}
        for mark in sorted(group, key=lambda mark: (mark.page_order, mark.pk), reverse=True):
            first[mark.tint, mark.to_tint] = (mark.page_order, mark.pk)
        most = min(tally, key=lambda both: (-tally[both], first[both]))
        for mark in group:
            same = (mark.tint, mark.to_tint) == most
            owing[mark.pk] = _as_marked(mark) if same else (NoTint.NOT_THE_SAME, NoTint.FLAT)
    return owing


def _as_marked(mark: Mark) -> Owed:
    return mark.tint, NoTint.FLAT if mark.to_tint is None else mark.to_tint
