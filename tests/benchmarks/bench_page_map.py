"""What a page's map costs, and what is read through it: ``python tests/benchmarks/bench_page_map.py``.

A painted scene of 15 megapixels with 80 marks; each row is the quickest of some runs, in seconds of one core, since other
work only adds to it. The limit beside it: OpenCV's connected components of the same page's light pixels, and its watershed
from the map's own areas as seeds, at the map's working size; neither finds paper, writing or paint, nor closes a gap.
Bars: map 1.5 s and 600 MB, 80 marks 0.15 s, as printed 0.5 s.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from bible.colour.press import DEFAULT_PRESS, load
from guides.imaging.page.marks import read_marks
from guides.imaging.page.outlines import outlines
from guides.imaging.page.page_map import PageMap
from guides.imaging.page.reading import read_page_map
from guides.imaging.paint.reading import PaintMark, read_page
from guides.imaging.press.printed import Area, printed_page
from tests.guides.imaging.strange_scenes import draw_scene, paint_scene

WIDTH, HEIGHT, MARKS, SEED = 3200, 4700, 80, 905
SCREEN, PRINTED = 2400, 1800
REPEATS = 5


def quickest(deed: Callable[[], object]) -> float:
    best = float("inf")
    for _ in range(REPEATS):
        start = time.process_time()
        deed()
        best = min(best, time.process_time() - start)
    return best


def memory(path: str) -> None:
    """Prints how much memory a map takes beyond the picture, MB: in a process that does nothing else."""
    with np.load(path) as kept:
        image = kept["image"]
    before = _held("VmRSS")
    read_page_map(image)
    print(json.dumps(_held("VmHWM") - before + image.nbytes / 2**20))


def _held(what: str) -> float:
    status = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text().splitlines())
    return int(status[what].split()[0]) / 1024


def limits(image: np.ndarray[Any, Any], page: PageMap) -> dict[str, float]:
    """Seconds of OpenCV's own ways to areas, at the map's working size."""
    height, width = page.labels.shape
    small = cv2.resize(image, (width, height), interpolation=cv2.INTER_AREA)
    light = (small.max(axis=2) > 100).astype(np.uint8)
    seeds = np.where(cv2.distanceTransform((~page.line).astype(np.uint8), cv2.DIST_L2, 3) > page.pen, page.labels, 0)
    return {
        "connected components": quickest(lambda: cv2.connectedComponents(light, connectivity=4)),
        "watershed": quickest(lambda: cv2.watershed(small, seeds.astype(np.int32))),
    }


def main() -> None:
    cv2.setNumThreads(1)
    if len(sys.argv) == 3 and sys.argv[1] == "--memory":
        memory(sys.argv[2])
        return
    scene = draw_scene(SEED, WIDTH, HEIGHT, MARKS)
    image = paint_scene(scene, SEED)
    spots = [(x, y, scene.patches[label].tint) for x, y, label in scene.spots.values()]
    spots = [*spots, *((x + 3, y + 3, tint) for x, y, tint in spots)][:MARKS]
    share = SCREEN / HEIGHT
    screen = cv2.resize(image, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
    small = cv2.resize(image, (round(WIDTH * PRINTED / HEIGHT), PRINTED), interpolation=cv2.INTER_AREA)
    page = read_page_map(screen)
    kept = page.to_bytes()
    points = np.array([(x * share, y * share) for x, y, _ in spots])
    marks = [PaintMark(n, x * share, y * share, tint) for n, (x, y, tint) in enumerate(spots)]
    areas = [Area(x / WIDTH, y / HEIGHT, tint) for x, y, tint in spots]
    press = load(DEFAULT_PRESS)
    fades = np.zeros(len(points), bool)
    rows = {
        f"map of {WIDTH * HEIGHT / 1e6:.0f} megapixels": quickest(lambda: read_page_map(image)),
        "map taken from where it is kept": quickest(lambda: PageMap.from_bytes(kept)),
        f"{len(points)} marks read from it": quickest(lambda: read_marks(page, screen, points, fades)),
        "… and judged": quickest(lambda: read_page(screen, marks, page_map=page)),
        "as printed from it": quickest(lambda: printed_page(small, areas, press, page)),
        "outlines for the desk": quickest(lambda: outlines(page)),
    } | limits(image, page)
    for name, seconds in rows.items():
        print(f"{name:32s} {seconds:6.3f} s")
    print(f"kept: {len(kept) / 1024:.0f} KB, outlines {len(outlines(page)) / 1024:.0f} KB, {len(page.areas)} areas")
    with tempfile.TemporaryDirectory() as folder:
        np.savez(Path(folder) / "page.npz", image=image)
        done = subprocess.run(
            [sys.executable, __file__, "--memory", str(Path(folder) / "page.npz")], check=True, capture_output=True
        )
    print(f"at most {json.loads(done.stdout):.0f} MB with the picture")


if __name__ == "__main__":
    main()
