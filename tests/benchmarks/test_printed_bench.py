"""How long a guide takes to be shown as printed: a page as the screen derivative has it, 80 areas (bar: 1.5 s)."""

from __future__ import annotations

from typing import Any

import numpy as np

from guides.imaging.press.printed import Area, printed_page
from tests.guides.imaging.press.test_printed import NEWSPRINT, TINTS, page


def test_a_page_as_printed(benchmark: Any) -> None:
    image, _, marks = page(height=1800, width=1200)
    random = np.random.default_rng(5)
    areas = [Area(x, y, tint) for (x, y), tint in zip(marks * 10, TINTS * 10, strict=True)]
    areas += [Area(x, y, TINTS[0]) for x, y in random.random((40, 2)).tolist()]
    benchmark.pedantic(printed_page, (image, areas, NEWSPRINT), rounds=5, warmup_rounds=1)
