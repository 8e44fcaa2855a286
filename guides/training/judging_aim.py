"""How often codes on made pages are followed to the area that they mean, by the way they are written."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from guides.imaging.page.reading import read_page_map
from guides.imaging.writing.aiming import aim
from guides.imaging.writing.models import models
from guides.training.aims import aimed_page, shaken
from guides.training.hands import WritingHand


def followed(hands: Sequence[WritingHand], pages: int, folder: Path | None = None) -> list[str]:
    """Rows of text: the share of codes whose likeliest area is the one meant, boxes as the finder gives them, on
    pages of the kind that is learnt from, of other seeds, in other hands; by the network in ``folder``, or ours."""
    right, every = Counter[str](), Counter[str]()
    for seed in range(pages):
        rng = np.random.default_rng((seed, 91_000))
        made = aimed_page(hands, rng)
        if made is None:
            continue
        picture, pointed_words = made
        page = read_page_map(picture)
        boxes = [shaken(pointed.word.place.corners(), rng) for pointed in pointed_words]
        for pointed, at in zip(pointed_words, aim(models(folder).pointer, page, picture, boxes), strict=True):
            meant = {area.id for area in (page.area_at(*spot) for spot in pointed.means) if area}
            best = max(at.chances, key=lambda area: at.chances[area], default=0)
            every[pointed.way] += 1
            right[pointed.way] += best in meant
    return [f"{way}: {100 * right[way] / every[way]:.1f} % of {every[way]}" for way in sorted(every)]
