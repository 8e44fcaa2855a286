"""What the paint says at the marks of a page: read when somebody asks or at night, kept, and never a decision.

Reading a page takes about half a second, so it is done a page at a time and kept with the version of each mark; lists
ask the kept readings only. Nothing here changes a code.

Paint asks, it never decides: disagreements are counted apart from flags. Other pages of a colourist teach by
confirmed marks only: flat codes that agree with the bible or are waived, or that somebody looked at.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from django.db import transaction
from django.db.models import Count, Exists, F, OuterRef
from django.utils import timezone

from bible.colour import press as presses
from bible.colour.press import DEFAULT_PRESS
from bible.colour.tints import Tint
from bible.models import Issue, Series
from bible.series.refusals import Refused
from guides.core.once import deed_of_desk
from guides.core.page_maps import map_of, screen_pixels
from guides.core.rules import hold_mark
from guides.imaging.paint.reading import (
    NEW,
    Opinion,
    PaintMark,
    PaintSamples,
    Sample,
    Suggestion,
    read_page,
    weigh_lock,
)
from guides.models import PAINT_VERSION, Deed, Guide, Mark, PaintReading

SHOWN = 4
"""Suggestions beside a mark: what is read at a glance."""

TAUGHT_BY = 300
"""Readings of a colourist's other pages that teach a page, the newest first: more only cost time."""

LEAST_SHOWN = 0.01
"""Chance below which a suggestion is not worth showing."""

WORDS = ((0.97, "almost surely"), (0.85, "very likely"), (0.6, "likely"), (0.3, "perhaps"), (0.0, "barely"))
"""Words for a chance, from which on each is used (our own bands; the figure always stands beside them)."""


@dataclass(frozen=True, slots=True)
class Likely:
    """A code that the paint suggests. ``p`` is its chance, 0-1; ``locked`` whether the bible expects it here."""

    tint: Tint
    p: float
    locked: bool = False

    @property
    def percent(self) -> str:
        return "over 99" if self.p > 0.99 else f"{100 * self.p:.0f}"

    @property
    def word(self) -> str:
        return next(word for least, word in WORDS if self.p >= least)


@dataclass(frozen=True, slots=True)
class Voice:
    """What the paint says at a place: codes with their chances, whether it disagrees with the written one
    (``wrong`` is the chance of that, 0-1), and a ``problem`` in words where it can say little or nothing."""

    likely: tuple[Likely, ...]
    odd: bool
    wrong: float
    problem: str
    reading: PaintReading | None = None

    @property
    def wrong_percent(self) -> str:
        return Likely(Tint(0, 0, 0, 0), self.wrong).percent


NEWEST = 24
"""Issues whose pages a list of the whole series says to be waiting: two years of a monthly. What is older is seldom
worked at, and asking it of every mark of fifty years took two seconds."""


def unread(series: Series, issue: Issue | None = None, *, since: int = 0) -> set[int]:
    """Keys of current guides with a mark whose kept reading is missing or of an earlier state; of one issue, or of
    the issues from a place in the running order on."""
    fresh = PaintReading.objects.fresh().filter(mark=OuterRef("pk"))
    marks = Mark.objects.filter(series=series).live().filter(~Exists(fresh)).order_by()
    marks = marks.within(issue.position if issue else None, since=since)
    return set(marks.values_list("guide_id", flat=True).distinct())


def disagreements_by_guide(series: Series) -> dict[int, int]:
    """How many marks of each guide have paint that disagrees, of those that have any."""
    readings = PaintReading.objects.filter(series=series).disagreeing().order_by()
    return dict(readings.values_list("mark__guide").annotate(n=Count("id")))


def read_guide(guide: Guide) -> int:
    """Read the paint at every live mark of a guide and keep what it says. Returns how many disagree.

    The page's own codes teach the hand, save those that speak against the rest; so do confirmed marks of the same
    colourist on other pages of the series.
    """
    rows = _rows(guide)
    _keep(guide, rows)
    return sum(row.odd for row in rows)


def _rows(guide: Guide) -> list[PaintReading]:
    """What the paint says now at every live mark of a guide; not kept."""
    marks = list(Mark.objects.filter(guide=guide).live().order_by("number"))
    opinions, samples = _look(guide, [_paint_mark(guide, mark) for mark in marks])
    return [_row(*row) for row in zip(marks, opinions, samples, strict=True)]


def voice_of(mark: Mark) -> Voice:
    """What the paint says at a mark; looked at anew, and not kept, where what is kept is of an earlier state."""
    reading = PaintReading.objects.filter(mark=mark).select_related("looked_by").first()
    if mark.live and not PaintReading.objects.fresh().filter(mark=mark).exists():
        rows = _rows(mark.guide)
        _bring_looks(mark.guide, rows)
        reading = next((row for row in rows if row.mark_id == mark.pk), reading)
    if reading is None:
        return Voice((), False, 0.0, "")
    return told(reading, mark.expected if isinstance(mark.expected, Tint) else None)


def kept_for(mark: Mark) -> None:
    """See to it that what is kept of a mark's paint is of its present state."""
    if mark.live and not PaintReading.objects.fresh().filter(mark=mark).exists():
        read_guide(mark.guide)


def voice_at(guide: Guide, x: float, y: float) -> Voice:
    """What the paint says at a place (fractions of the page) where no mark stands yet; nothing is kept.

    The page's marks teach by their kept readings as far as those hold; only the others are looked at again.
    """
    read = dict(PaintReading.objects.fresh().filter(mark__guide=guide).values_list("mark_id", "sample"))
    odd = set(PaintReading.objects.disagreeing().filter(mark__guide=guide).values_list("mark_id", flat=True))
    marks = list(Mark.objects.filter(guide=guide).live().order_by("number"))
    kept = [
        (mark.tint, _sample(numbers))
        for mark in marks
        if isinstance(mark.tint, Tint) and mark.pk not in odd and not mark.is_gradient
        if (numbers := read.get(mark.pk))
    ]
    waiting = [_paint_mark(guide, mark) for mark in marks if mark.pk not in read]
    place = PaintMark(NEW, x * guide.width, y * guide.height)
    opinion = _look(guide, [*waiting, place], PaintSamples.of(kept))[0][-1]
    return Voice(_likely([(s.tint, s.p) for s in opinion.suggestions]), False, 0.0, opinion.problem)


def told(reading: PaintReading, expected: Tint | None = None) -> Voice:
    """A kept reading in words, the locked code of the mark's part weighing in."""
    chances = [(Tint.from_packed(packed), p) for packed, p in reading.suggestions]
    if expected is not None:
        chances = weigh_lock(chances, expected)
    return Voice(_likely(chances, expected), reading.odd, reading.wrong, reading.problem, reading)


@transaction.atomic
def look_at(*, mark: Mark, by: object) -> bool:
    """Note that somebody looked at a disagreement and that the code is as meant. False where there is none now."""
    disagreements = PaintReading.objects.disagreeing().filter(mark=mark)
    now = timezone.now()
    return bool(PaintReading.objects.filter(pk__in=list(disagreements.values_list("pk", flat=True))).update(
        looked_at=now, looked_by=by
    ))  # fmt: skip


@deed_of_desk(Deed.Kind.AS_MEANT)
@transaction.atomic
def say_as_meant(*, mark: Mark, by: object) -> Mark:
    """``look_at`` as a deed of the desk: ``Refused`` where the paint does not disagree, or somebody was faster."""
    mark = hold_mark(mark)
    if not look_at(mark=mark, by=by):
        raise Refused("The paint there does not disagree any more.")
    return mark


@deed_of_desk(Deed.Kind.ASK_AGAIN)
@transaction.atomic
def ask_again(*, mark: Mark) -> Mark:
    """Let a disagreement that somebody called meant be asked about again; nothing where nobody did."""
    mark = hold_mark(mark)
    PaintReading.objects.filter(mark=mark).looked_at_by_somebody().update(looked_at=None, looked_by=None)
    return mark


def _likely(chances: list[tuple[Tint, float]], expected: Tint | None = None) -> tuple[Likely, ...]:
    return tuple(Likely(tint, p, tint == expected) for tint, p in chances[:SHOWN] if p >= LEAST_SHOWN)


def _paint_mark(guide: Guide, mark: Mark) -> PaintMark:
    tint = mark.tint if isinstance(mark.tint, Tint) else None
    return PaintMark(mark.pk, mark.x * guide.width, mark.y * guide.height, tint, mark.is_gradient)


def _look(
    guide: Guide, marks: list[PaintMark], kept: PaintSamples | None = None
) -> tuple[list[Opinion], list[Sample | None]]:
    """Opinions and samples at places in the pixels of the guide as it came; ``kept`` is known of the page already."""
    picture = screen_pixels(guide)
    page = map_of(guide, picture)
    across, down = picture.shape[1] / guide.width, picture.shape[0] / guide.height
    scaled = [
        PaintMark(mark.id, mark.x * across, mark.y * down, mark.tint, mark.gradient) for mark in marks
    ]  # fmt: skip
    name = guide.issue.press_name
    shipped = name in {info.name for info in presses.available()}
    known = _known(guide) if kept is None else kept.joined(_known(guide))
    return read_page(picture, scaled, known=known, press=name if shipped else DEFAULT_PRESS, page_map=page)


def _known(guide: Guide) -> PaintSamples:
    """What the confirmed marks of this colourist's other pages teach; nothing where nobody says whose hand it is."""
    if guide.colourist_id is None:
        return PaintSamples.none()
    kept = PaintReading.objects.filter(series_id=guide.series_id, mark__guide__colourist_id=guide.colourist_id)
    kept = kept.exclude(mark__guide=guide).teaching().order_by("-id")
    rows = kept.values_list("mark__tint", "sample")[:TAUGHT_BY]
    return PaintSamples.of([(tint, _sample(numbers)) for tint, numbers in rows if numbers])


def _sample(numbers: list[float]) -> Sample:
    return Sample(np.array(numbers[:3]), np.array(numbers[3:]).reshape(3, 3))


def _row(mark: Mark, opinion: Opinion, sample: Sample | None) -> PaintReading:
    numbers = None if sample is None else [round(float(v), 6) for v in (*sample.density, *sample.cov.ravel())]
    return PaintReading(
        series_id=mark.series_id,
        mark=mark,
        version=mark.version,
        model_version=PAINT_VERSION,
        suggestions=[[s.tint.packed, s.p] for s in opinion.suggestions if isinstance(s, Suggestion)],
        wrong=opinion.score,
        odd=opinion.odd,
        sample=numbers,
        problem=opinion.problem[:300],
        read_at=timezone.now(),
    )


@transaction.atomic
def _keep(guide: Guide, rows: list[PaintReading]) -> None:
    """Replace a guide's readings. A look somebody took stays with a mark that has not changed since."""
    standing = set(Mark.objects.filter(guide=guide).values_list("pk", flat=True))
    rows = [row for row in rows if row.mark_id in standing]  # an issue may have been deleted meanwhile
    _bring_looks(guide, rows)
    fields = [
        "version",
        "model_version",
        "suggestions",
        "wrong",
        "odd",
        "sample",
        "problem",
        "looked_at",
        "looked_by",
    ]
    PaintReading.objects.bulk_create(
        rows, update_conflicts=True, unique_fields=["mark"], update_fields=[*fields, "read_at"]
    )


def _bring_looks(guide: Guide, rows: list[PaintReading]) -> None:
    """A look somebody took stays with a mark that has not changed since."""
    looked = PaintReading.objects.filter(mark__guide=guide, version=F("mark__version")).looked_at_by_somebody()
    looks = {mark_id: (at, by) for mark_id, at, by in looked.values_list("mark_id", "looked_at", "looked_by_id")}
    for row in rows:
        row.looked_at, row.looked_by_id = looks.get(row.mark_id, (row.looked_at, row.looked_by_id))
