"""How well pages that read themselves are read where nobody knows the hands: painted guides of others.

    python -m tests.benchmarks.bench_strangers FOLDER [--weights FOLDER] [--parts]

FOLDER (or its ``foreign``) holds ``N/guide.jpg`` with ``N/truth.json``: for every mark its place, what is written there
and the tint that is painted. Where a code stands is not told, so codes are matched to marks by place alone: one to one,
the least way in all from a mark to the box of a code, and none further than ``NEAR`` millimetres. Fades are left out,
also as codes that are none. Some codes can't be seen by anybody (grey pencil on dark paint): they count as not found.

``--parts`` gives the bible of all casts, with the tints painted, and asks whose part each code is, and which of the
codes that are written wrong are flagged on their own part.

These pages are for looking, seldom: nothing may be chosen by them. Figures stand in ``weights/CARD.md``.
"""

from __future__ import annotations

import json
import time
from argparse import ArgumentParser
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from scipy.optimize import linear_sum_assignment

from bible.colour.notation import PERCENT
from guides.imaging.writing import Lexicon, read_page
from guides.imaging.writing.bible_file import PageBible, bible_from_json
from guides.imaging.writing.crops import Place
from guides.imaging.writing.mapping import map_page
from guides.imaging.writing.page import Writing, WrittenCode
from guides.imaging.writing.proposals import propose

NEAR = 5.0
"""Millimetres from a mark to the box of its code: some are written beside their area, with a line."""

FAR = 1000.0
SURE, SURE_PART = 0.95, 0.9


@dataclass(frozen=True)
class ForeignPage:
    """A stranger's page: ``marks`` with a code, ``fades``, pixels of a millimetre."""

    name: str
    picture: npt.NDArray[np.uint8]
    marks: list[dict[str, Any]]
    fades: list[dict[str, Any]]
    dots: float

    @classmethod
    def of(cls, folder: Path) -> ForeignPage:
        """As it lies in a folder."""
        truth = json.loads((folder / "truth.json").read_text())
        picture = cv2.imread(str(folder / "guide.jpg"), cv2.IMREAD_COLOR)
        assert picture is not None
        (a, b, _), *_ = truth["guide"]["mm_to_px"]
        return cls(
            folder.name,
            np.ascontiguousarray(picture[:, :, ::-1]).astype(np.uint8),
            [mark for mark in truth["marks"] if mark["written_code"] and not mark["gradient"]],
            [mark for mark in truth["marks"] if mark["gradient"]],
            float(np.hypot(a, b)),
        )

    def away(self, marks: list[dict[str, Any]], codes: tuple[WrittenCode, ...]) -> npt.NDArray[np.float64]:
        """Millimetres from each mark to each code's box, 0 inside it."""
        return np.array([[_away(code.place, mark["x"], mark["y"]) / self.dots for code in codes] for mark in marks])

    def part(self, mark: dict[str, Any]) -> str:
        """The id of a mark's part: a figure's, or a thing's in one panel."""
        owner = mark["figure"] if mark["figure"] != "bg" else f"panel {mark['panel']}"
        return f"{self.name} {owner} {mark['part']}"


def _away(place: Place, x: float, y: float) -> float:
    cos, sin = np.cos(place.turn), np.sin(place.turn)
    along, down = (x - place.x) * cos + (y - place.y) * sin, (y - place.y) * cos - (x - place.x) * sin
    return float(np.hypot(max(abs(along) - place.wide / 2, 0), max(abs(down) - place.high / 2, 0)))


def matched(page: ForeignPage, codes: tuple[WrittenCode, ...]) -> dict[int, int]:
    """Numbers of marks with the number of the code that is theirs."""
    away = page.away(page.marks, codes)
    near = np.where(away <= NEAR, away, FAR)
    pairs = zip(*linear_sum_assignment(near), strict=True)
    return {int(mark): int(code) for mark, code in pairs if near[mark, code] < FAR}


def count(page: ForeignPage, codes: tuple[WrittenCode, ...], own: dict[int, int]) -> Counter[str]:
    """What the rows of the table are made of."""
    seen: Counter[str] = Counter(marks=len(page.marks), found=len(own))
    fades = page.away(page.fades, codes)
    for number in set(range(len(codes))) - set(own.values()):
        seen["no code"] += not (len(page.fades) and fades[:, number].min() <= NEAR)
    for mark, number in own.items():
        truth = PERCENT.write(PERCENT.read(page.marks[mark]["written_code"]))
        code = codes[number]
        said = [other.code for other in code.alternatives]
        seen["right"] += said[:1] == [truth]
        seen["among three"] += truth in said[:3]
        seen["sure"] += code.p >= SURE
        seen["sure right"] += code.p >= SURE and said[:1] == [truth]
    return seen


def cast(pages: list[ForeignPage]) -> PageBible:
    """One bible of all pages' figures and things, in the tints that are painted."""
    subjects: dict[str, dict[str, Any]] = {}
    for page in pages:
        for mark in page.marks:
            part = page.part(mark)
            name = part.rsplit(" ", 1)[0]
            kind = "place" if mark["figure"] == "bg" else "character"
            subject = subjects.setdefault(name, {"id": name, "name": name, "kind": kind, "parts": {}})
            subject["parts"][part] = {"id": part, "name": mark["part"], "roles": {"base": mark["tint_code"]}}
    listed = [
        {**one, "costumes": [{"id": one["id"], "name": "as drawn", "parts": list(one["parts"].values())}]}
        for one in subjects.values()
    ]
    return bible_from_json({"notation": "percent", "subjects": listed})


def count_parts(page: ForeignPage, writing: Writing, own: dict[int, int], bible: PageBible) -> Counter[str]:
    """Whose part each matched code is said to be, and which wrong ones are flagged on their own part."""
    page_map = map_page(page.picture, places=writing.places)
    proposed = propose(page_map, page.picture, writing.codes, notation=PERCENT, bible=bible)
    seen: Counter[str] = Counter(wrong=sum(bool(mark["written_wrong"]) for mark in page.marks))
    for mark, number in own.items():
        said = [reading.code for reading in proposed[number].readings]
        truth = PERCENT.write(PERCENT.read(page.marks[mark]["written_code"]))
        sure = bool(said) and proposed[number].readings[0].p >= SURE
        seen["asked, right"] += said[:1] == [truth]
        seen["asked, among three"] += truth in said[:3]
        seen["asked, sure"] += sure
        seen["asked, sure right"] += sure and said[:1] == [truth]
        belongs, part = proposed[number].belongs, page.part(page.marks[mark])
        if belongs is None:
            continue
        among = [belongs.part, *(one.part for one in belongs.alternatives if one.part != belongs.part)]
        first = belongs.part == part
        seen["asked"] += 1
        seen["first"] += first
        seen["of three"] += part in among[:3]
        seen["part sure"] += belongs.p >= SURE_PART
        seen["part sure right"] += belongs.p >= SURE_PART and first
        slipped = bool(page.marks[mark]["written_wrong"])
        seen["flagged"] += slipped and first and belongs.differs
        seen["right ones"] += not slipped
        seen["flagged for nothing"] += not slipped and belongs.differs
    return seen


def share(part: int, whole: int) -> str:
    return f"{100 * part / max(whole, 1):.1f} %"


def rows(seen: Counter[str]) -> list[str]:
    """The table."""
    found = seen["found"]
    told = [
        f"codes found {share(found, seen['marks'])} of {seen['marks']}; found ones that are codes "
        f"{share(found, found + seen['no code'])}",
        f"read exactly {share(seen['right'], found)}; among three {share(seen['among three'], found)}",
        f"sure (0.95) {share(seen['sure'], found)}; of them right {share(seen['sure right'], seen['sure'])}",
    ]
    if seen["asked"]:
        told += [
            f"once paint and bible are asked: read exactly {share(seen['asked, right'], found)}; among three "
            f"{share(seen['asked, among three'], found)}; sure {share(seen['asked, sure'], found)}; of them right "
            f"{share(seen['asked, sure right'], seen['asked, sure'])}",
            f"part first {share(seen['first'], seen['asked'])}; among three {share(seen['of three'], seen['asked'])}",
            f"part sure (0.9) {share(seen['part sure'], seen['asked'])}; of them right "
            f"{share(seen['part sure right'], seen['part sure'])}",
            f"wrong codes flagged on their own part {share(seen['flagged'], seen['wrong'])} of {seen['wrong']}; right "
            f"ones flagged {share(seen['flagged for nothing'], seen['right ones'])}",
        ]
    return told


def main() -> None:
    parser = ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--weights", type=Path, help="networks to judge; without it, ours")
    parser.add_argument("--parts", action="store_true", help="whose part each code is, as well")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    folder = options.folder / "foreign" if (options.folder / "foreign").is_dir() else options.folder
    pages = [ForeignPage.of(path.parent) for path in sorted(folder.glob("*/truth.json"))]
    bible, lexicon, seen, seconds = cast(pages), Lexicon.of(PERCENT), Counter[str](), []
    for page in pages:
        begun = time.process_time()
        writing = read_page(page.picture, lexicon, options.weights)
        seconds.append(time.process_time() - begun)
        own = matched(page, writing.codes)
        here = count(page, writing.codes, own)
        if options.parts:
            here += count_parts(page, writing, own, bible)
        print(f"{page.name}: {here['found']} of {here['marks']} found, {here['right']} right", flush=True)
        seen += here
    print(*rows(seen), f"{np.median(seconds) * 1000:.0f} ms of one core a page, in the middle", sep="\n")


if __name__ == "__main__":
    main()
