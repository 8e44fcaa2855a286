"""The picture beside a costume's codes: what a lead has chosen, or a piece of the page guide where it is marked best.

A chosen piece of a page is shown from the page's issue on, since before it the costume may have been another; a model
drawing belongs to no issue and is shown in all of them.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.db.models import Count, Exists, Max, Min, OuterRef, QuerySet
from django.utils import timezone
from PIL import Image

from bible.models import Costume, Issue, Part
from guides.models import CostumePicture, CostumePictureQuerySet, Guide, Mark, MarkQuerySet

AROUND = 0.07
"""Share of the page left around the outermost marks: a mark stands within its area, not at the figure's outline."""

LEAST = 0.24
"""No crop is a smaller share of the page's sides: around a single mark a patch of flat colour would say nothing."""


RECENT = 24
"""Issues that a costume's picture comes from where it is marked in them: two years of a monthly."""


@dataclass(frozen=True, slots=True)
class Crop:
    """A piece of a page or of a model drawing: fractions of its width and height, 0-1, measured from the top left."""

    of: Guide | CostumePicture
    left: float
    top: float
    right: float
    bottom: float

    @property
    def guide(self) -> Guide | None:
        """The page; None of a drawing."""
        return self.of if isinstance(self.of, Guide) else None

    @property
    def where(self) -> str:
        if isinstance(self.of, CostumePicture):
            return f"model drawing of {timezone.localtime(self.of.chosen_at).strftime('%-d %b %Y')}"
        return f"issue {self.of.issue.number}, {self.of}{'' if self.of.is_current else ', an older scan'}"

    @property
    def caption(self) -> str:
        """As a sentence, for paper."""
        return f"{'From the guide of' if self.guide else 'A'} {self.where}: paint, not ink."

    @property
    def size(self) -> tuple[float, float]:
        """Width and height in pixels of the original: their ratio is the picture's."""
        return (self.right - self.left) * self.of.width, (self.bottom - self.top) * self.of.height


def best_crops(subjects: Iterable[int], position: int) -> dict[int, Crop]:
    """For each subject the picture chosen for the first of its costumes then in use; else, where it is marked
    anywhere up to a running-order position, the crop that shows it best.

    Best is the current guide on which most different parts of costumes then in use are marked; among equals the
    one with more marks, then the newest: it is the nearest to what is drawn now. Three queries.
    """
    worn = Costume.objects.active().in_use(position).filter(subject__in=list(subjects))
    chosen = _choices(worn, position).order_by("-costume__rank", "-costume")
    crops = {choice.costume.subject_id: chosen_crop(choice) for choice in chosen}
    return _best(_marks_of(worn.exclude(subject__in=crops), position), "part__costume__subject") | crops


def costume_crops(costumes: Iterable[int], position: int) -> dict[int, Crop]:
    """The same for each costume by itself, whether it is still worn or not.

    The newest ``RECENT`` issues are looked at first: what is drawn now is what is looked for, and a costume with ten
    thousand marks is not counted for a page. Who is not marked there is looked for everywhere. Four to six queries.
    """
    wanted = list(costumes)
    crops = {choice.costume_id: chosen_crop(choice) for choice in _choices(wanted, position)}
    issues = Issue.objects.filter(series__subjects__costumes__in=wanted[:1], position__lte=position)
    since = list(issues.order_by("-position").values_list("position", flat=True)[:RECENT])
    for first in (since[-1], 0) if since else ():
        if rest := [costume for costume in wanted if costume not in crops]:
            marks = _marks_of(Costume.objects.filter(pk__in=rest), position).filter(position__gte=first)
            crops |= _best(marks, "part__costume")
    return crops


def pictured(costumes: Iterable[int], position: int) -> set[int]:
    """Those of some costumes that there is a picture of, up to a running-order position: one query that looks for a
    mark, where the picture itself is chosen when it is asked for, and one for what is chosen already."""
    asked = list(costumes)
    marks = Mark.objects.live().filter(part=OuterRef("pk"), position__lte=position)
    parts = Part.objects.active().filter(Exists(marks), costume__in=asked)
    chosen = _choices(asked, position).order_by()
    return set(parts.order_by().values_list("costume", flat=True)) | set(chosen.values_list("costume", flat=True))


def page_crops(costume: Costume, most: int, guide: int | None = None) -> list[Crop]:
    """The pages, or the one page, on which a costume is marked, best first, each as the crop that shows it."""
    marks = Mark.objects.live().filter(part__archived_at=None, part__costume=costume)
    rows = _boxes(marks if guide is None else marks.filter(guide=guide), "part__costume")
    ranked = list(rows.order_by("-parts", "-marks", "-newest", "-guide")[:most])
    guides = Guide.objects.select_related("issue", "series").in_bulk([row[1] for row in ranked])
    return [_crop(guides[row[1]], *row[-4:]) for row in ranked]


def chosen_crop(picture: CostumePicture) -> Crop:
    return Crop(picture.guide or picture, *picture.piece)


def _choices(costumes: Iterable[int] | QuerySet[Costume], position: int) -> CostumePictureQuerySet:
    return CostumePicture.objects.standing().seen_at(position).filter(costume__in=costumes).with_pages()


def _marks_of(costumes: QuerySet[Costume], position: int) -> MarkQuerySet:
    return Mark.objects.live().filter(part__archived_at=None, part__costume__in=costumes, position__lte=position)


def _boxes(marks: MarkQuerySet, owner: str) -> QuerySet[Any, tuple[Any, ...]]:
    """By owner and guide: how many parts and marks, how new, and the box around the marks."""
    return (
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


def _best(marks: MarkQuerySet, owner: str) -> dict[int, Crop]:
    best: dict[int, tuple[tuple[int, ...], tuple[float, ...]]] = {}
    for owned_by, guide, parts, number, newest, *box in _boxes(marks, owner).iterator():
        rank = (parts, number, newest, guide)
        if owned_by not in best or rank > best[owned_by][0]:
            best[owned_by] = (rank, tuple(box))
    guides = Guide.objects.select_related("issue", "series").in_bulk({rank[-1] for rank, _ in best.values()})
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


def _file_of(crop: Crop) -> str:
    return str(crop.of.screen.name)


def cut_crops(crops: Iterable[Crop], long_side: int) -> Iterator[tuple[Crop, bytes | None]]:
    """Each crop as JPEG in sRGB, at most ``long_side`` pixels long; None where its file is missing.

    They come picture by picture, in whatever order: one is decoded once however many crops are cut from it, and
    one decoded page at a time is in memory.
    """
    ordered = sorted(crops, key=_file_of)
    for _, group in groupby(ordered, key=_file_of):
        together = list(group)
        try:
            screen = together[0].of.screen
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
