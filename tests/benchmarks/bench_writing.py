"""How well codes are found and read: pages of a family and in hands that nothing was learnt from, and strangers.

``python -m tests.benchmarks.bench_writing [--pages N] [--fonts FOLDER] [--faint] [--watched] [--weights FOLDER] [--letters
SCAN] [--guides FOLDER]``. Without the folder of fonts (the training command fetches it) only our own kept-out strokes
write. ``--faint``: small, pale and careless (``judging.written_page``); ``--watched``: crowds in watched hands instead,
which chose what is chosen. ``--letters`` is a scan of
somebody's A-Z and 0-9 in a grid of boxes (``bench_writing_letters``); ``--guides`` holds guides with lists of marks.

`bench_writing.py` judges `guides/imaging/writing` on painted scenes and in hands (fonts and our own strokes) of which nothing was learnt, and on strangers;
what it learnt from, how, what its odds were fitted on and its figures stand in `guides/imaging/writing/weights/CARD.md`.
`python -m guides.training` (extra `training`, an accelerator helps) makes the pages, learns, exports, fits the odds and judges. Nobody
needs it to run or to test. The finder sees the page at 1,600 pixels, its words are read from the page as given; a text's likelihood is summed
over a tree of all spellings of the series' lexicon, so nothing outside it is ever claimed; odds join it with what the finder thought.
"""

from __future__ import annotations

import json
import time
from argparse import ArgumentParser, Namespace
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np

from bible.colour.notation import PERCENT
from guides.imaging.writing import Lexicon, read_page
from guides.training.hands import WritingHand, stroke_hand
from guides.training.judging import NOTATIONS, Tally, grown, written_page
from guides.training.stream import STROKE_HANDS, hands_of
from guides.training.tiles import Word
from tests.benchmarks.bench_writing_letters import ScannedHand
from tests.guides.imaging.crowd_pages import crowd_page
from tests.guides.imaging.strange_scenes import draw_scene, paint_scene
from tests.guides.imaging.writing.written_pages import Picture


def pages(
    form: str, hands: list[WritingHand], count: int, *, faint: bool = False, watched: bool = False
) -> Iterator[tuple[Picture, list[Word]]]:
    """Painted scenes of 1,300 to 2,500 pixels' height, 130 to 250 dots an inch, with up to 40 codes."""
    for number in range(count):
        rng = np.random.default_rng(80_000 + number + 1000 * (form == "percent"))
        height = int(rng.integers(1300, 2500))
        if watched:
            crowd = crowd_page(number + 1 + 50 * (form == "percent"), bare=True)
            yield written_page(grown(crowd.image, height), hands, form, rng, faint=faint)
            continue
        scene = draw_scene(number + 1, round(height * 0.66), height, 40)
        scene.spots = {}
        yield written_page(paint_scene(scene, number + 1), hands, form, rng, faint=faint)


def judge(name: str, hands: list[WritingHand], options: Namespace) -> None:
    """Print the rows of the table, and the seconds of one core a page takes."""
    for form, notation in NOTATIONS.items():
        tally, lexicon, seconds = Tally(), Lexicon.of(notation), []
        for page, words in pages(form, hands, options.pages, faint=options.faint, watched=options.watched):
            begun = time.process_time()
            read = read_page(page, lexicon, options.weights).codes
            seconds.append(time.process_time() - begun)
            tally.add(words, read, form)
        print(f"{name}, {form}", *tally.lines(), f"{np.mean(seconds) * 1000:.0f} ms a page", sep="\n  ")
        for kind, truth, said, p, _ in tally.misses[:25]:
            print(f"    {kind}: {truth} {said} {p:.2f}")


def guides(folder: Path) -> None:
    """Marks with a code near them, with their own code near them; sure codes that some mark of the page has."""
    lexicon = Lexicon.of(PERCENT)
    for path in sorted(folder.glob("*/guide_marks.json")):
        page = cv2.imread(str(path.parent / "guide.jpg"), cv2.IMREAD_COLOR)
        codes = read_page(np.ascontiguousarray(np.asarray(page)[:, :, ::-1]), lexicon).codes
        marks = [mark for mark in json.loads(path.read_text()) if mark["code"] and not mark["gradient"]]
        truth = [PERCENT.write(PERCENT.read(mark["code"])) for mark in marks]
        near = same = 0
        for mark, code in zip(marks, truth, strict=True):
            by = [c for c in codes if np.hypot(c.place.x - mark["x"], c.place.y - mark["y"]) < max(60, c.place.wide)]
            near += bool(by)
            same += code in [c.code for c in by]
        sure = [code.code for code in codes if code.p >= 0.95]
        known = sum(code in truth for code in sure)
        print(f"{path.parent.name}: {len(marks)} marks, near {near}, same {same}; {len(codes)} codes, sure {len(sure)},"
              f" of the page {known}")  # fmt: skip


def main() -> None:
    parser = ArgumentParser(description=__doc__)
    parser.add_argument("--pages", type=int, default=12)
    parser.add_argument("--fonts", type=Path)
    parser.add_argument("--faint", action="store_true")
    parser.add_argument("--watched", action="store_true")
    parser.add_argument("--weights", type=Path)
    parser.add_argument("--letters", type=Path)
    parser.add_argument("--guides", type=Path)
    options = parser.parse_args()
    cv2.setNumThreads(1)
    family = "watched" if options.watched else "kept out"
    own: list[WritingHand] = [stroke_hand(number) for number in STROKE_HANDS[family]]
    judge(f"{family} hands", hands_of(options.fonts, family) if options.fonts else own, options)
    if options.letters:
        judge("a scanned hand", [ScannedHand.of(options.letters)], options)
    if options.guides:
        guides(options.guides)


if __name__ == "__main__":
    main()
