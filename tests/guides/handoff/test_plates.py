"""The plate list."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from bible.colour.tints import INKS, Tint
from guides.core.labels import runs
from guides.handoff.plates import Marked, plate_list

STEPS = st.sampled_from([0, 25, 50, 100])
TINTS = st.builds(Tint, STEPS, STEPS, STEPS)
MARKS = st.lists(st.tuples(st.none() | TINTS, st.none() | TINTS), max_size=40).map(
    lambda pairs: [Marked(number, tint, to if tint else None) for number, (tint, to) in enumerate(pairs, 1)]
)


def test_the_trades_brown() -> None:
    """Solid yellow, 50 % red, 25 % blue: one mark on three plates (common practice, no source)."""
    plates = plate_list(
        [Marked(1, Tint(25, 50, 100)), Marked(2, Tint(0, 0, 100)), Marked(3, Tint()), Marked(4, None)]
    )
    assert [(p.ink_name, p.strength, p.numbers) for p in plates.plates] == [
        ("yellow", "solid", (1, 2)),
        ("magenta", "50 %", (1,)),
        ("cyan", "25 %", (1,)),
    ]
    assert (plates.paper, plates.unread) == ((3,), (4,))


def test_a_fade_stands_apart_and_an_ink_that_stays_is_flat() -> None:
    plates = plate_list([Marked(1, Tint(0, 100, 100), Tint(0, 0, 100)), Marked(2, Tint(0, 100, 0))])
    assert [(p.ink_name, p.strength, p.is_fade, p.numbers) for p in plates.plates] == [
        ("yellow", "solid", False, (1,)),
        ("magenta", "solid", False, (2,)),
        ("magenta", "solid to nothing", True, (1,)),
    ]


@given(MARKS)
def test_every_mark_is_somewhere_and_its_tint_can_be_built_from_the_plates(marks: list[Marked]) -> None:
    plates = plate_list(marks)
    assert len({(p.ink, p.start, p.end) for p in plates.plates}) == len(plates.plates)
    for mark in marks:
        here = {p.ink: (p.start, p.end) for p in plates.plates if mark.number in p.numbers}
        if mark.tint is None:
            assert mark.number in plates.unread
            assert not here
            continue
        to = mark.to_tint or mark.tint
        assert Tint(**{ink: here.get(ink, (0, 0))[0] for ink in INKS}) == mark.tint
        assert Tint(**{ink: here.get(ink, (0, 0))[1] for ink in INKS}) == to
        assert bool(here) != (mark.number in plates.paper)


@given(st.sets(st.integers(1, 60)))
def test_runs_say_the_same_numbers(numbers: set[int]) -> None:
    said: set[int] = set()
    for piece in filter(None, runs(numbers).split(", ")):
        first, _, last = piece.partition("-")
        said |= set(range(int(first), int(last or first) + 1))
    assert said == numbers


def test_runs_of_three_and_more_are_drawn_together() -> None:
    assert runs([4, 1, 2, 3, 7, 9, 10]) == "1-4, 7, 9, 10"
