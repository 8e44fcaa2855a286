"""Forty marks at the desk. Bar: under four minutes of an experienced hand, by the keystroke-level model.

``python -m pytest tests/benchmarks/test_marking_bench.py -s`` prints the model's time for several typists and counts of
mental preparation, beside the time the machine itself takes for the same flow (a browser that types without pausing).
Nothing is asserted about time here; ``tests/browser/test_marking_flow.py`` asserts the counts.
"""

from __future__ import annotations

import time
from collections import Counter
from typing import Any

import pytest

from bible.models import Series
from guides.models import Guide, Mark
from tests.browser.conftest import _collected_files, colourist, guide, visit  # noqa: F401
from tests.browser.crowded_page import make_cast
from tests.browser.hand import KEYSTROKE, Hand, seconds
from tests.browser.moves import queue_is_empty
from tests.browser.test_marking_flow import marking_by_typing

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_forty_marks(visit: Any, colourist: Any, series: Series, guide: Guide) -> None:  # noqa: F811
    make_cast(series)
    page = visit(colourist, guide.get_absolute_url(), viewport={"width": 1280, "height": 1000})
    page.wait_for_load_state("networkidle")
    hand = Hand(page)
    started = time.perf_counter()
    marking_by_typing(hand)
    queue_is_empty(page)
    took = time.perf_counter() - started
    assert Mark.objects.count() == 40
    print(f"\noperators: {dict(hand.did)}; the machine alone: {took:.1f} s")
    for typist, keystroke in KEYSTROKE.items():
        for extra, words in ((0, "one mental preparation a mark"), (40, "two")):
            model = seconds(hand.did + Counter(M=extra), keystroke)
            print(f"  {typist}, {words}: {model // 60:.0f} min {model % 60:02.0f} s")
