"""How a colourist's letters look to the reader: learnt from pages of theirs that people have answered, before the
next page is read. Codes that were let in by themselves teach nothing, nor does a page some of whose codes wait."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from django.db import transaction

from bible.colour.tints import Tint
from guides.core.page_maps import screen_pixels
from guides.found.queries import to_learn_from
from guides.imaging.writing import HandShapes, HandShapesError, Lexicon, WritingModelError, learnt_from
from guides.imaging.writing.crops import Place
from guides.models import CodeSearch, FoundCode, Guide, KnownHand

PAGES_AT_ONCE = 3
"""Pages that are learnt from before one is read, the newest first: each takes a third of a second, and the reader is
waited for."""

STEEP = math.radians(35)
"""Turn from which a level box says too little of the turned one within it."""


def hand_of(guide: Guide) -> HandShapes | None:
    """What is known of the letters of whoever coloured a page, pages answered since included; None where nothing is,
    or where it cannot be learnt: the page is read without it then."""
    if guide.colourist_id is None:
        return None
    known = KnownHand.objects.of(guide).first()
    shapes, learnt = _known(known.shapes) if known else None, []
    lexicon = Lexicon.of(guide.series.notation, guide.series.chart)
    for page in to_learn_from(guide)[:PAGES_AT_ONCE]:
        try:
            picture = screen_pixels(page)
            confirmed = list(_confirmed(page, (picture.shape[1], picture.shape[0])))
            shapes = learnt_from(picture, confirmed, lexicon, shapes)
        except (OSError, WritingModelError):
            continue
        learnt.append(page.pk)
    if shapes and learnt:
        _keep(guide, shapes, learnt)
    return shapes


def _known(kept: dict[str, Any]) -> HandShapes | None:
    """None where what was kept is damaged: later pages teach it anew."""
    try:
        return HandShapes.from_json(kept)
    except HandShapesError:
        return None


@transaction.atomic
def _keep(guide: Guide, shapes: HandShapes, learnt: list[int]) -> None:
    """Two pages read at once may learn from the same one: what is kept is one of the two, never half of each."""
    defaults = {"shapes": shapes.as_json()}
    KnownHand.objects.update_or_create(series_id=guide.series_id, colourist_id=guide.colourist_id, defaults=defaults)
    CodeSearch.objects.filter(guide__in=learnt).update(learnt_from=True)


def _confirmed(page: Guide, size: tuple[int, int]) -> Iterator[tuple[Place, str]]:
    """Places of a page's answered codes, and what people said that they say."""
    for row in FoundCode.objects.filter(guide=page).answered().clear().select_related("mark"):
        place = place_of(row, size)
        if place is not None and row.mark is not None and isinstance(row.mark.tint, Tint):
            yield place, page.series.write(row.mark.tint)


def place_of(row: FoundCode, size: tuple[int, int]) -> Place | None:
    """The turned box of a code's writing on a picture of (width, height) pixels, from the level one round it; None
    where it is too steep to be known."""
    turn = math.radians(row.angle)
    if abs(turn) > STEEP:
        return None
    level = (row.right - row.left) * size[0], (row.bottom - row.top) * size[1]
    cos, sin = math.cos(turn), abs(math.sin(turn))
    wide, high = ((level[a] * cos - level[1 - a] * sin) / (cos**2 - sin**2) for a in (0, 1))
    if min(wide, high) < 2:
        return None
    x, y = row.written_at
    return Place(x * size[0], y * size[1], wide, high, turn)
