"""The picture on a colour sheet: a piece of the page guide on which the subject is marked best."""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby

from django.db.models import Count, Exists, Max, Min, OuterRef, QuerySet
from PIL import Image

from bible.models import Costume, Issue, Part
from guides.models import Guide, Mark, MarkQuerySet

AROUND = 0.07
"""Share of the page left around the outermost marks: a mark stands within its area, not at the figure's outline."""

LEAST = 0.24
"""No crop is a smaller share of the page's sides: around a single mark a patch of flat colour would say nothing."""


RECENT = 24
"""Issues that a costume's picture comes from where it is marked in them: two years of a monthly."""


@dataclass(frozen=True, slots=True)
class Crop:
    """A piece of a guide: fractions of its width and height, 0-1, measured from the top left."""

    guide: Guide
    left: float
    top: float
    right: float
    bottom: float

    @property
    def where(self) -> str:
        return f"issue {self.guide.issue.number}, {self.guide}"

    @property
    def size(self) -> tuple[float, float]:
        """Width and height in pixels of the original: their ratio is the picture's."""
        return (self.right - self.left) * self.guide.width, (self.bottom - self.top) * self.guide.height


def best_crops(subjects: Iterable[int], position: int) -> dict[int, Crop]:
    """For each subject that is marked anywhere up to a running-order position, the crop that shows it best.

    Best is the current guide on which most different parts of costumes then in use are marked; among equals the
    one with more marks, then the newest: it is the nearest to what is drawn now. Two queries.
    """
    worn = Costume.objects.active().in_use(position).filter(subject__in=list(subjects))
    return _best(_marks_of(worn, position), "part__costume__subject")


def costume_crops(costumes: Iterable[int], position: int) -> dict[int, Crop]:
    """The same for each costume by itself, whether it is still worn or not.

    The newest ``RECENT`` issues are looked at first: what is drawn now is what is looked for, and a costume with ten
    thousand marks is not counted for a page. Who is not marked there is looked for everywhere. Three to five queries.
    """
    wanted = list(costumes)
    issues = Issue.objects.filter(series__subjects__costumes__in=wanted[:1], position__lte=position)
    since = list(issues.order_by("-position").values_list("position", flat=True)[:RECENT])
    if not since:
        return {}
    marks = _marks_of(Costume.objects.filter(pk__in=wanted), position)
    found = _best(marks.filter(position__gte=since[-1]), "part__costume")
    others = Costume.objects.filter(pk__in=[costume for costume in wanted if costume not in found])
    older = _best(_marks_of(others, position), "part__costume") if len(found) < len(wanted) else {}
    return found | older


def pictured(costumes: Iterable[int], position: int) -> set[int]:
    """Those of some costumes that there is a picture of, up to a running-order position: one query that looks for a
    mark, where the picture itself is chosen when it is asked for."""
    marks = Mark.objects.live().filter(part=OuterRef("pk"), position__lte=position)
    parts = Part.objects.active().filter(Exists(marks), costume__in=list(costumes))
    return set(parts.order_by().values_list("costume", flat=True))


def _marks_of(costumes: QuerySet[Costume], position: int) -> MarkQuerySet:
    return Mark.objects.live().filter(part__archived_at=None, part__costume__in=costumes, position__lte=position)


def _best(marks: MarkQuerySet, owner: str) -> dict[int, Crop]:
    rows = (
        marks.order_by()
        .values_list(owner, "guide")
        .annotate(
            parts=Count("part", distinct=True),
            marks=Count("id"),
            newest=Max("position"),
            left=Min("x"),
            top=Min("y"),
            right=Max("x"),
            bottom=Max("y"),
        )
    )
    best: dict[int, tuple[tuple[int, ...], tuple[float, ...]]] = {}
    for owned_by, guide, parts, number, newest, *box in rows.iterator():
        rank = (parts, number, newest, guide)
        if owned_by not in best or rank > best[owned_by][0]:
            best[owned_by] = (rank, tuple(box))
    guides = Guide.objects.select_related("issue").in_bulk({rank[-1] for rank, _ in best.values()})
    return {owned_by: _crop(guides[rank[-1]], *box) for owned_by, (rank, box) in best.items()}


def crop_around(guide: Guide, x: float, y: float) -> Crop:
    """The least crop with a place of the page (fractions) in its middle, or as near to it as the page has room."""
    return _crop(guide, x, y, x, y)


def _crop(guide: Guide, left: float, top: float, right: float, bottom: float) -> Crop:
    (left, right), (top, bottom) = _widened(left, right), _widened(top, bottom)
    return Crop(guide, left, top, right, bottom)


def _widened(low: float, high: float) -> tuple[float, float]:
    """Room around the marks, at least ``LEAST`` of the side, within the page."""
    half = max(high - low + 2 * AROUND, LEAST) / 2
    middle = min(max((low + high) / 2, half), 1 - half) if half < 0.5 else 0.5
    return max(middle - half, 0.0), min(middle + half, 1.0)


def cut_crops(crops: Iterable[Crop], long_side: int) -> Iterator[tuple[Crop, bytes | None]]:
    """Each crop as JPEG in sRGB, at most ``long_side`` pixels long; None where the file of the guide is missing.

    They come guide by guide, in whatever order: a guide is decoded once however many crops are cut from it, and
    one decoded page at a time is in memory.
    """
    ordered = sorted(crops, key=lambda crop: crop.guide.pk)
    for _, group in groupby(ordered, key=lambda crop: crop.guide.pk):
        together = list(group)
        try:
            screen = together[0].guide.screen
            file = screen.storage.open(str(screen.name), "rb")
        except FileNotFoundError:
            yield from ((crop, None) for crop in together)
            continue
        with file, Image.open(file) as opened:
            # The decoder leaves out what is not needed: a small picture of a large page costs a quarter of the time.
            share = min(max(crop.right - crop.left, crop.bottom - crop.top) for crop in together)
            wanted = int(long_side / share) + 1
            opened.draft("RGB", (wanted, wanted))
            for crop in together:
                yield crop, _cut(opened, crop, long_side)


def _cut(page: Image.Image, crop: Crop, long_side: int) -> bytes:
    width, height = page.size
    box = (
        int(crop.left * width),
        int(crop.top * height),
        max(int(crop.right * width), int(crop.left * width) + 1),
        max(int(crop.bottom * height), int(crop.top * height) + 1),
    )
    picture = page.crop(box).convert("RGB")
    picture.thumbnail((long_side, long_side))
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=82)
    return out.getvalue()


def crop_jpeg(crop: Crop, long_side: int) -> bytes | None:
    """One crop as JPEG, as ``cut_crops`` gives it."""
    return next(cut_crops([crop], long_side))[1]
