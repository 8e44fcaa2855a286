"""Where parts usually lie in a figure, and pieces of a place in their panel: by their names, and by earlier marks.

A figure's own measure: 0 at the crown of its head, 1 at its soles, x 0 at its middle, in the same unit. Names speak
where nothing was confirmed yet: a hat is above a coat in every comic (common practice, no source). Earlier marks
overrule them, part by part.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from guides.imaging.writing.bible_file import EarlierMark, PageBible, PartId, PartRole

FloatArray = npt.NDArray[np.float64]

FIGURE_WORDS: tuple[tuple[float, float, str], ...] = (
    (0.00, 0.045, "hat cap helmet crown bonnet souwester sou'wester turban beret feather hatband band horn"),
    (0.05, 0.05, "hair wig hood goggles kerchief fringe braid bun curls headscarf"),
    (0.12, 0.05, "face head eye eyes glass glasses lens lenses nose cheek lips mouth tongue teeth ear mask"),
    (0.16, 0.05, "beard moustache muzzle chin"),
    (0.13, 0.16, "skin fur"),
    (0.21, 0.05, "neck collar tie scarf cravat neckerchief ruff necklace clasp bow"),
    (0.30, 0.06, "shirt blouse bodice chest breast"),
    (0.42, 0.10, "coat jacket vest waistcoat dress tunic smock jersey sweater oilskin robe apron overall gown"),
    (0.40, 0.12, "body torso armour suit uniform top"),
    (0.36, 0.09, "badge button buttons patch stripe stripes braiding medal lapel pocket emblem"),
    (0.45, 0.16, "sleeve sleeves arm cuff shawl"),
    (0.50, 0.05, "belt sash buckle girdle"),
    (0.50, 0.12, "hand hands glove gloves mitten ring bag satchel basket tool tools"),
    (0.52, 0.16, "cape cloak mantle wing wings"),
    (0.64, 0.08, "hem lining tail"),
    (0.70, 0.08, "trousers skirt legs leg breeches stockings stocking hose shorts tights kilt pants"),
    (0.92, 0.06, "boot boots shoe shoes sandals clogs slippers sock socks foot feet sole paws paw hooves"),
)  # fmt: skip
"""Usual height in a figure, its spread, and the words for it."""

ASIDE = frozenset(("glove", "hand", "mitten", "sleeve", "arm", "cuff", "cape", "cloak", "wing", "bag", "satchel"))
"""Parts that lie as often left and right of a figure's middle as on it."""

PLACE_WORDS: tuple[tuple[float, float, str], ...] = (
    (0.06, 0.05, "caption title masthead"),
    (0.18, 0.14, "sky cloud clouds moon sun star stars smoke lamp lamps ceiling gull"),
    (
        0.40,
        0.22,
        "hill hills mountain wall building house roof roofs tower windows window glass frame door tree leaves",
    ),
    (0.55, 0.20, "trunk fence hedge bench table sign plaster mast"),
    (0.84, 0.13, "ground floor street road sea water river grass sand quay pavement snow deck stone kerb"),
)
"""The same for pieces of a place: 0 at the panel's top, 1 at its foot."""

DETAILS = frozenset(("cuff", "cuffs", "band", "lining", "stripe", "stripes", "button", "buttons", "patch", "trim"))
"""Words for a piece of something: what it is a piece of says more about where it lies."""

UNKNOWN = (0.45, 0.28)
"""Height and spread of a part whose name says nothing."""

IN_PLACE = (0.5, 0.30)

BESIDE, FAR_BESIDE = 0.085, 0.17
"""Sideways spread in heights of a figure: of what lies on its middle, and of what hangs beside it."""

WORTH = 4.0
"""How many earlier marks weigh as much as a part's name."""

LEAST_SPREAD = 0.03

TOGETHER = 0.45
"""Share of the page within which earlier marks of one subject are taken for one figure."""


@dataclass(frozen=True)
class UsualPlaces:
    """Where each of some parts and roles is expected: ``v`` (n,) heights, ``spread_v``, ``spread_u`` (n,); in units
    of the figure, of the panel for places."""

    v: FloatArray
    spread_v: FloatArray
    spread_u: FloatArray


def by_name(name: str, kind: str) -> tuple[float, float, float]:
    """Height, its spread and the sideways spread of a part by the last word of its name that says something."""
    table = {"place": PLACE_WORDS, "prop": ()}
    words = table.get(kind, FIGURE_WORDS)
    said_by = list(reversed(re.findall(r"[a-z']+", name.casefold())))
    for word in sorted(said_by, key=DETAILS.__contains__):
        for form in (word, word.removesuffix("s"), word.removesuffix("es")):
            for height, spread, known in words:
                if form in known.split():
                    return height, spread, FAR_BESIDE if form.removesuffix("s") in ASIDE else BESIDE
    height, spread = IN_PLACE if kind == "place" else UNKNOWN
    return height, spread, FAR_BESIDE


def usual_places(bible: PageBible, earlier: Sequence[EarlierMark]) -> UsualPlaces:
    """Expected places of all parts and roles of a bible, in its order."""
    first = np.array([by_name(part.name, bible.subjects[part.subject].kind) for part in bible.parts]).reshape(-1, 3)
    places = UsualPlaces(first[:, 0], first[:, 1], first[:, 2])
    figures = list(_figures(bible, earlier))
    return _learnt(bible.parts, places, figures) if figures else places


def _figures(bible: PageBible, earlier: Sequence[EarlierMark]) -> Iterable[tuple[list[int], FloatArray]]:
    """Earlier marks of one figure: their numbers in the bible and their places (n, 2) in shares of the page."""
    number: dict[tuple[PartId, str], int] = {(p.part, p.role): place for place, p in enumerate(bible.parts)}
    groups: dict[tuple[str, int], list[tuple[int, float, float]]] = defaultdict(list)
    size: dict[str, float] = defaultdict(lambda: 1e-9)
    for mark in earlier:
        size[mark.page] = max(size[mark.page], abs(mark.x), abs(mark.y))
        place = number.get((mark.part, mark.role)) if mark.part is not None else None
        if place is not None and bible.subjects[bible.parts[place].subject].kind != "place":
            groups[mark.page, bible.parts[place].subject].append((place, mark.x, mark.y))
    for (page, _), marks in groups.items():
        yield from _split(marks, size[page])


def _split(marks: list[tuple[int, float, float]], size: float) -> Iterable[tuple[list[int], FloatArray]]:
    """One subject's marks of one page, parted where a part comes twice or marks lie far apart: two panels."""
    left = [(place, x / size, y / size) for place, x, y in marks]
    while left:
        (place, x, y), *left = left
        taken, where, rest = [place], [(x, y)], []
        for other in sorted(left, key=lambda m: (m[1] - x) ** 2 + (m[2] - y) ** 2):
            middle = np.mean(where, axis=0)
            if other[0] in taken or np.hypot(other[1] - middle[0], other[2] - middle[1]) > TOGETHER / 2:
                rest.append(other)
            else:
                taken.append(other[0])
                where.append(other[1:])
        left = rest
        if len(taken) >= 3:
            yield taken, np.array(where)


def _learnt(
    parts: Sequence[PartRole], usual: UsualPlaces, figures: list[tuple[list[int], FloatArray]]
) -> UsualPlaces:
    """Heights once figures of earlier pages have weighed in; parts of one name learn from each other."""
    names = {name: place for place, name in enumerate(dict.fromkeys(p.name.casefold() for p in parts))}
    group = np.array([names[part.name.casefold()] for part in parts])
    v = usual.v.copy()
    for _ in range(3):
        seen: dict[int, list[float]] = defaultdict(list)
        for places, where in figures:
            heights = _in_figure(v[places], usual.spread_v[places], where[:, 1])
            for place, height in zip(places, heights, strict=True):
                seen[int(group[place])].append(float(height))
        for name, heights_seen in seen.items():
            of = group == name
            count = len(heights_seen)
            v[of] = (WORTH * usual.v[of] + count * np.median(heights_seen)) / (WORTH + count)
    spread = usual.spread_v.copy()
    for name, heights_seen in seen.items():
        of = group == name
        count = len(heights_seen)
        own = (
            1.25 * np.abs(np.array(heights_seen) - v[of].mean()).mean()
        )  # spread of a normal from its mean deviation
        spread[of] = np.maximum((WORTH * usual.spread_v[of] + count * own) / (WORTH + count), LEAST_SPREAD)
    return UsualPlaces(v, spread, usual.spread_u)


def _in_figure(v: FloatArray, spread: FloatArray, y: FloatArray) -> FloatArray:
    """Heights y in a figure's own measure, by the line that fits its parts' expected heights best."""
    weight = 1 / spread**2
    mean_v, mean_y = np.average(v, weights=weight), np.average(y, weights=weight)
    tall = ((weight * (v - mean_v) * (y - mean_y)).sum() + 1e-4) / ((weight * (v - mean_v) ** 2).sum() + 1e-3)
    if tall < 0.03:
        return v
    return np.asarray((y - mean_y) / tall + mean_v)
