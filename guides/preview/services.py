"""Which marked areas sink into their neighbours: looked for a page at a time, kept, and allowed to stand by a lead.

Finding the areas of a page takes about half a second, so it is done in the background when somebody asks, or at
night; lists ask what is kept. A pair that may stand changes no code and no expectation, so unlike the
waiver of a flag it opens no signed issue again.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from bible.colour.press import PressCondition
from bible.colour.tints import Tint
from bible.models import ActivityKind, Issue, Series, record
from bible.models.naming import name_of
from bible.series.holding import hold_reading
from bible.series.presses import condition
from bible.series.refusals import Refused
from bible.web.digest import digest
from guides.core.holding import hold_pages
from guides.core.page_maps import map_of
from guides.imaging.page.regions import grow
from guides.imaging.press.neighbours import Sinking, sinking
from guides.models import LOOK_VERSION, Guide, Mark, NeighbourLook, SinkingPair, SinkingPairQuerySet, marks_state
from guides.preview.prints import area_of, painted

if TYPE_CHECKING:
    from django.contrib.auth.models import User


def press_key(press: PressCondition) -> str:
    """Names a press condition and today's way of looking."""
    return digest(f"{LOOK_VERSION} {press.name} {press.source}")


def looks_of_today(series: Series) -> QuerySet[NeighbourLook]:
    """Looks in the press condition on which their page prints today: its issue's own, else the series'."""
    looks = NeighbourLook.objects.filter(series=series)
    key = press_key(condition(series))
    if not series.own_presses:
        return looks.filter(press=key)
    fits = Q(guide__issue__press="", press=key)
    for name in series.own_presses:
        fits |= Q(guide__issue__press=name, press=press_key(condition(series, name)))
    return looks.filter(fits)


def pairs_of(series: Series) -> SinkingPairQuerySet:
    """The pairs of a series that still are as they were seen, in the press condition of today."""
    return SinkingPair.objects.filter(series=series).standing(looks_of_today(series))


def waiting(series: Series, issue: Issue | None = None, *, since: int = 0) -> list[Guide]:
    """Current pages with marks that nobody has looked at since their marks or the press condition changed; of one
    issue, or of the issues from a place in the running order on."""
    marks = Mark.objects.filter(series=series).live().within(issue.position if issue else None, since=since)
    guides = Guide.objects.filter(series=series).current()
    looks = looks_of_today(series)
    if issue:
        guides, looks = guides.filter(issue=issue), looks.filter(guide__issue=issue)
    elif since:
        looks = looks.filter(guide__issue__position__gte=since)
    now, seen = marks_state(marks), dict(looks.values_list("guide", "marks"))
    pages = [guide for guide, state in now.items() if seen.get(guide) != state]
    return list(guides.filter(pk__in=pages).in_order().select_related("series", "issue"))


def look_at(guide: Guide) -> int:
    """Find a page's areas and keep which sink into their neighbours. Returns how many pairs do."""
    press = condition(guide.series, guide.issue.press)
    marks = list(Mark.objects.filter(guide=guide).live().order_by("number"))
    areas = [area_of(mark) for mark in marks]
    picture = painted(guide)
    height, width = picture.shape[:2]
    points = [(area.x * width, area.y * height) for area in areas if area.tint is not None]
    tints, numbers = [area.tint for area in areas], [mark.number for mark in marks]
    regions = grow(picture, points, follow=False, page=map_of(guide))
    pairs = sinking(regions, tints, numbers, press, [mark.part_id for mark in marks])
    keep(guide=guide, marks=marks, pairs=pairs, press=press)
    return len(pairs)


@transaction.atomic
def keep(*, guide: Guide, marks: Iterable[Mark], pairs: Sequence[Sinking], press: PressCondition) -> None:
    """Keep what a look at a page's live ``marks`` found; a waiver stays with a pair that is as it was.

    Nothing is kept of a page that stands no more or whose marks have changed since the look: it goes on waiting.
    """
    hold_pages(series_id=guide.series_id, issues=[], guides=[guide.pk])
    held = Guide.objects.select_related("issue").get(pk=guide.pk)
    live = Mark.objects.filter(guide=held).live()
    if not held.stands or dict(live.values_list("pk", "version")) != {mark.pk: mark.version for mark in marks}:
        return
    state = {"series_id": held.series_id, "marks": marks_state(live).get(held.pk, ""), "press": press_key(press)}
    before = NeighbourLook.objects.filter(guide=held, press=state["press"]).first()
    waived = {(sunk.first_id, sunk.second_id): sunk for sunk in before.pairs.waived()} if before else {}
    look, _ = NeighbourLook.objects.update_or_create(guide=held, defaults=state)
    by_number = {mark.number: mark for mark in marks}
    rows = [_pair(look, by_number[sunk.first], by_number[sunk.second], sunk) for sunk in pairs]
    for row in rows:
        earlier = waived.get((row.first_id, row.second_id))
        if earlier and earlier.same_as(row):
            row.reason, row.waived_at, row.waived_by_id = earlier.reason, earlier.waived_at, earlier.waived_by_id
    fields = [
        field.name for field in SinkingPair._meta.concrete_fields if field.name not in ("id", "first", "second")
    ]
    SinkingPair.objects.bulk_create(
        rows, update_conflicts=True, unique_fields=["first", "second"], update_fields=fields
    )
    pairs_found = {(row.first_id, row.second_id) for row in rows}
    gone = [sunk.pk for sunk in look.pairs.all() if (sunk.first_id, sunk.second_id) not in pairs_found]
    look.pairs.filter(pk__in=gone).delete()


def bring_waivers(guide: Guide, source: Guide, new_of: Mapping[int, Mark]) -> None:
    """Let what may stand on an older scan hold for its marks on a new one; ``new_of`` is by their old keys.

    The new page still waits for its own look; a pair it does not find again is dropped then, with its waiver.
    """
    earlier = NeighbourLook.objects.filter(guide=source).first()
    waived = earlier.pairs.waived().as_compared().filter(first__in=new_of, second__in=new_of) if earlier else []
    if not earlier or not waived:
        return
    begun = {"series_id": guide.series_id, "marks": "", "press": earlier.press}
    look, _ = NeighbourLook.objects.get_or_create(guide=guide, defaults=begun)
    if look.press != earlier.press:
        return
    SinkingPair.objects.bulk_create(
        SinkingPair(
            series_id=guide.series_id,
            look=look,
            first=new_of[waiver.first_id],
            second=new_of[waiver.second_id],
            first_version=new_of[waiver.first_id].version,
            second_version=new_of[waiver.second_id].version,
            reason=waiver.reason,
            waived_at=waiver.waived_at,
            waived_by_id=waiver.waived_by_id,
            **waiver.compared(),
        )
        for waiver in waived
    )


def _pair(look: NeighbourLook, first: Mark, second: Mark, sunk: Sinking) -> SinkingPair:
    return SinkingPair(
        series_id=look.series_id,
        look=look,
        first=first,
        second=second,
        first_version=first.version,
        second_version=second.version,
        first_tint=first.tint,
        second_tint=second.tint,
        x=sunk.x,
        y=sunk.y,
        border=sunk.border,
        risk=sunk.risk,
        difference=sunk.difference,
    )


def described(pair: SinkingPair, series: Series) -> str:
    """A pair in one sentence, and why it may stand where a lead has said so."""
    sides = [f"mark {mark.number} ({_whose(mark)}, {_code(series, mark)})" for mark in pair.sides]
    words = f"{sides[0]} beside {sides[1]}: {pair.word}, CIEDE2000 {pair.difference:.1f}"
    return f"{words}; waived by {name_of(pair.waived_by)}: {pair.reason}" if pair.waived_at else words


def _whose(mark: Mark) -> str:
    return mark.part.full_name if mark.part else "background"


def _code(series: Series, mark: Mark) -> str:
    return series.write(mark.tint) if isinstance(mark.tint, Tint) else mark.written


@transaction.atomic
def waive_pair(*, pair: SinkingPair, reason: str, by: User) -> SinkingPair:
    """Allow a pair to stand as it is.

    Raises:
        Refused: no reason, it is waived already, or it is not there any more.
    """
    if not reason.strip():
        raise Refused("A waiver needs a reason: it is read years later.")
    hold_reading(pair.series_id)
    pair = SinkingPair.objects.select_for_update(of=("self",)).with_names().select_related("series").get(pk=pair.pk)
    if pair.waived_at:
        raise Refused(f"{name_of(pair.waived_by)} has waived that already: {pair.reason}")
    if not pairs_of(pair.series).filter(pk=pair.pk).exists():
        raise Refused("A mark or the press condition has changed since the page was looked at: look at it again.")
    pair.reason, pair.waived_at, pair.waived_by = reason.strip(), timezone.now(), by
    pair.save(update_fields=["reason", "waived_at", "waived_by"])
    _record(ActivityKind.WAIVED, pair, by, pair.reason)
    return pair


@transaction.atomic
def remove_pair_waiver(*, pair: SinkingPair, by: User) -> SinkingPair:
    """Let a waived pair be open again. Refused where it is open."""
    hold_reading(pair.series_id)
    pair = SinkingPair.objects.select_for_update(of=("self",)).with_names().get(pk=pair.pk)
    if not pair.waived_at:
        raise Refused("This waiver does not hold any more.")
    reason, pair.reason, pair.waived_at, pair.waived_by = pair.reason, "", None, None
    pair.save(update_fields=["reason", "waived_at", "waived_by"])
    _record(ActivityKind.WAIVER_BACK, pair, by, reason)
    return pair


def _record(deed: ActivityKind, pair: SinkingPair, by: User, reason: str) -> None:
    first, guide = pair.first, pair.first.guide
    about: dict[str, Any] = {
        "issue": guide.issue,
        "page": guide.page,
        "mark_number": first.number,
        "person": first.created_by,
    }
    record(deed, series=pair.series_id, by=by, words={"reason": reason}, **about)
