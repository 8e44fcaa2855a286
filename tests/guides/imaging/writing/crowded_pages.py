"""Pages of figures without pictures: where codes lie, what they say, whose they are. The family that watches.

Nothing of it is used to choose a number: figures are squat, lean and are cut by their panels, names are partly unknown
words, and a share of the codes is wrong.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from bible.colour.charts import CHART_64
from bible.colour.notation import LETTERS_64
from bible.colour.tints import Tint
from guides.imaging.writing.clues import Clue

HEIGHTS = {
    "hat": -0.02, "hair": 0.07, "face": 0.15, "scarf": 0.26, "shirt": 0.36, "coat": 0.46, "badge": 0.34, "belt": 0.56,
    "glove": 0.52, "trousers": 0.72, "boots": 0.93, "fin": 0.6, "plume": -0.1, "gaiters": 0.85,
}  # fmt: skip
PIECES = {"sky": 0.15, "hill": 0.5, "ground": 0.88, "wall": 0.4, "floor": 0.85, "door": 0.5}
TINTS = tuple(tint for tint in CHART_64.tints if not tint.is_paper)


@dataclass(frozen=True)
class CrowdedPage:
    """Clues with their truth: ``parts`` the ids (None: nobody's), ``wrong`` whether the code is not the part's."""

    clues: list[Clue]
    parts: list[str | None]
    wrong: list[bool]
    panels: np.ndarray
    touching: set[tuple[int, int]]


def make_bible(rng: np.random.Generator, *, characters: int = 12, places: int = 2) -> dict[str, Any]:
    """A BIBLE.json with characters in one or two costumes and places."""
    subjects = []
    for number in range(characters):
        names = ["face", "hair", *rng.permutation([n for n in HEIGHTS if n not in ("face", "hair")])[:7].tolist()]
        costumes = [
            _costume(rng, f"s{number}c{c}", names[2:] if c else names) for c in range(1 + int(rng.random() < 0.4))
        ]
        subjects.append({"id": f"s{number}", "name": f"No. {number}", "kind": "character", "costumes": costumes})
    for number in range(places):
        names = rng.permutation(list(PIECES))[:4].tolist()
        costumes = [_costume(rng, f"p{number}c0", names)]
        subjects.append({"id": f"p{number}", "name": f"Place {number}", "kind": "place", "costumes": costumes})
    return {"notation": "letters", "subjects": subjects}


def _costume(rng: np.random.Generator, name: str, parts: list[str]) -> dict[str, Any]:
    codes = [LETTERS_64.write(TINTS[i]) for i in rng.integers(len(TINTS), size=len(parts))]
    rows = [
        {"id": f"{name}/{part}", "name": part, "roles": {"base": code}}
        for part, code in zip(parts, codes, strict=True)
    ]
    return {"id": name, "name": name, "parts": rows}


def make_page(
    rng: np.random.Generator, bible: dict[str, Any], *, wrong: float = 0.07, unsure: float = 0.0
) -> CrowdedPage:
    """One page of six panels; ``unsure`` the share of codes whose first reading is another tint."""
    people = [s for s in bible["subjects"] if s["kind"] == "character"]
    places = [s for s in bible["subjects"] if s["kind"] == "place"]
    cast = [people[i] for i in rng.permutation(len(people))[:4]]
    worn = {s["id"]: s["costumes"][int(rng.integers(len(s["costumes"])))] for s in cast}
    page = CrowdedPage([], [], [], _panels(), set())
    for number, box in enumerate(page.panels):
        if places and rng.random() < 0.6:
            _put_place(rng, page, number, box, places[int(rng.integers(len(places)))], wrong, unsure)
        for _ in range(int(rng.integers(0, 3))):
            x, y = rng.uniform(box[:2], box[2:])
            _put(rng, page, number, (x, y), TINTS[int(rng.integers(len(TINTS)))], None, 0.3, wrong=0.0, unsure=unsure)
        for subject in [cast[i] for i in rng.permutation(4)[: int(rng.integers(1, 4))]]:
            _put_figure(rng, page, number, box, worn[subject["id"]], wrong, unsure)
    return page


def _panels() -> np.ndarray:
    return np.array([[x, y, x + 480, y + 520] for y in (20, 560, 1100) for x in (20, 520)], float)


def _put_place(rng: Any, page: CrowdedPage, number: int, box: Any, place: Any, wrong: float, unsure: float) -> None:
    for part in place["costumes"][0]["parts"]:
        if rng.random() < 0.6:
            y = box[1] + (box[3] - box[1]) * float(np.clip(PIECES[part["name"]] + rng.normal(0, 0.12), 0.02, 0.98))
            where = (float(rng.uniform(box[0], box[2])), y)
            tint = LETTERS_64.read(part["roles"]["base"])
            _put(rng, page, number, where, tint, part["id"], 0.25, wrong=wrong, unsure=unsure)


def _put_figure(rng: Any, page: CrowdedPage, number: int, box: Any, worn: Any, wrong: float, unsure: float) -> None:
    high = box[3] - box[1]
    tall, crown = high * rng.uniform(0.5, 1.5), box[1] + high * rng.uniform(0.08, 0.45)
    x, lean = rng.uniform(box[0] + 60, box[2] - 60), rng.normal(0, 0.12)
    first = len(page.clues)
    for part in worn["parts"]:
        v = HEIGHTS[part["name"]] + rng.normal(0, 0.03)
        where = (x + tall * (lean * v + rng.normal(0, 0.06)), crown + tall * v)
        inside = box[0] < where[0] < box[2] and box[1] < where[1] < box[3]
        if inside and rng.random() < 0.7:
            tint = LETTERS_64.read(part["roles"]["base"])
            _put(rng, page, number, where, tint, part["id"], 0.09, wrong=wrong, unsure=unsure)
    for one in page.clues[first:]:
        for other in page.clues[first:]:
            if one.area < other.area and abs(one.y - other.y) < 0.25 * tall and rng.random() < 0.5:
                page.touching.add((one.area, other.area))


def _put(
    rng: Any, page: CrowdedPage, number: int, where: tuple[float, float], tint: Tint, part: str | None, side: float,
    *, wrong: float, unsure: float,
) -> None:  # fmt: skip
    written, painted = tint, tint
    is_wrong = part is not None and rng.random() < wrong
    if is_wrong:
        written = slipped(rng, tint)
        painted = tint if rng.random() < 0.6 else written
    sure = float(rng.uniform(0.6, 0.95))
    look = [(painted, sure), (slipped(rng, painted), 0.7 * (1 - sure))]
    if rng.random() < unsure:
        said = ((slipped(rng, written), 0.5), (written, 0.35))
    else:
        said = ((written, 0.97), (slipped(rng, written), 0.02))
    area = len(page.clues) + 1
    size = 500 * side * float(np.exp(rng.normal(0, 0.4)))
    paint = tuple(dict(look).items())
    page.clues.append(Clue(where[0], where[1], area, number, said, paint, size))
    page.parts.append(part)
    page.wrong.append(is_wrong)


def slipped(rng: Any, tint: Tint) -> Tint:
    """Another tint: mostly one ink at another strength."""
    if rng.random() < 0.3:
        return TINTS[int(rng.integers(len(TINTS)))]
    inks = list(tint.percentages)
    ink = int(rng.integers(3))
    inks[ink] = int(rng.choice([p for p in (0, 25, 50, 100) if p != inks[ink]]))
    return Tint(*inks)
