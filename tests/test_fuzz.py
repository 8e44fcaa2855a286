"""A bounded part of tests/fuzz.py: no crash, no fault, nothing told of the machine, nothing left behind."""

from __future__ import annotations

import pytest

from tests.fuzz import Bench, Fault, scratch
from tests.mutations import mutated

pytestmark = pytest.mark.django_db


def test_made_up_codes_are_read_or_refused() -> None:
    bench = Bench(seed=3)
    bench.codes(3000, by_page=100)
    assert bench.said["code read"] > 50
    assert bench.said["code not read"] > 1000
    assert bench.said["code sent to a page"] == 120


def test_damaged_files_are_taken_or_refused() -> None:
    before, bench = scratch(), Bench(seed=4)
    bench.uploads(150)
    assert bench.said["picture taken"] > 5
    assert bench.said["picture refused"] > 20
    assert {name.split()[0] for name in bench.said} == {
        "picture", "table", "book", "press", "chart", "annotations", "archive",
    }  # fmt: skip
    assert bench.left_behind() == []
    assert scratch() <= before


def test_the_bench_would_see_a_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    from guides.uploads import views as arrivals

    def broken(*args: object) -> None:
        raise RuntimeError("hush")

    monkeypatch.setattr(arrivals, "take_in", broken)
    with pytest.raises(Fault, match="upload answered 500"):
        Bench(seed=5).uploads(20)


def test_what_is_drawn_follows_from_the_seed() -> None:
    import random

    data = bytes(range(200))
    assert mutated(data, random.Random(1), [data]) == mutated(data, random.Random(1), [data]) != data
