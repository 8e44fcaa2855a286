"""Proofs of pages whose guide is a print: what it strays from its codes is no fault of the proof's."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from bible.colour import press
from bible.colour.charts import CHART_64
from bible.colour.tints import Tint, as_array
from guides.imaging.proof.page_press import PagePress, basis, fit
from guides.imaging.proof.printed_guide import FEWEST, strays, without
from guides.imaging.proof.proofing import check
from guides.imaging.proof.reading import Reading, Unreadable
from guides.imaging.proof.verdicts import Judge
from tests.guides.imaging.proof.screened_pages import Guide, screened_proof

Float = npt.NDArray[np.float64]
CONDITION = press.load(press.DEFAULT_PRESS)
OTHER_RUN = 2
"""A seed whose guide is the scan of a printed page, and whose proof is another run of it with some areas recoloured."""


@dataclass
class Printing:
    page: PagePress
    guide: list[Reading]
    stray: Float


def make_printing(follows: float, marks: int = 40, wild: int = 0) -> Printing:
    """Marks that stray by a tenth on the guide, and by ``follows`` of that on the proof; ``wild`` of them print anything."""
    rng = np.random.default_rng(3)
    tints = as_array([CHART_64.tints[int(n)] for n in rng.integers(1, 64, marks)])
    stray = rng.normal(0, 0.12, (marks, 3))
    tone = basis(CONDITION, tints).tone
    printed = tone + follows * stray
    printed[:wild] -= rng.uniform(0.4, 0.8, (wild, 3))
    noise, at = np.full((marks, 3), 0.005), rng.uniform(0, 1, (marks, 2))
    page = fit(CONDITION, printed, noise, tints, at, np.ones(marks))
    return Printing(page, [Reading(value, noise[0], 50.0) for value in tone + stray], stray)


def test_what_the_guide_strays_is_foretold_where_the_proof_follows_it() -> None:
    for follows, wild in ((1.0, 0), (0.8, 0), (1.0, 8)):
        printing = make_printing(follows, wild=wild)
        foretold = strays(printing.page, CONDITION, printing.guide)
        assert foretold is not None
        sound = slice(wild, None)
        assert np.corrcoef(foretold[sound].ravel(), printing.stray[sound].ravel())[0, 1] > 0.8


def test_paint_that_strays_is_no_print_that_does() -> None:
    for follows in (0.0, -1.0):
        printing = make_printing(follows)
        assert strays(printing.page, CONDITION, printing.guide) is None


def test_a_few_marks_say_nothing_of_their_guide() -> None:
    printing = make_printing(1.0, FEWEST - 1)
    assert strays(printing.page, CONDITION, printing.guide) is None


def test_of_a_mark_that_the_guide_does_not_show_nothing_is_foretold() -> None:
    printing = make_printing(1.0)
    foretold = strays(printing.page, CONDITION, [*printing.guide[:-1], Unreadable("too little of it")])
    assert foretold is not None
    assert foretold.shape == (40, 3)
    assert not foretold[-1].any()
    assert foretold[:-1].all()


def test_the_foretold_is_taken_off_both_parts_of_an_area() -> None:
    whole, dark = np.zeros(3), np.full(3, -1.0)
    taken = without(Reading(whole, np.ones(3), 20.0, ((whole, 0.6), (dark, 0.4))), np.array([0.1, 0.2, 0.3]))
    assert np.allclose(taken.tone, [-0.1, -0.2, -0.3])
    assert np.allclose(taken.parts[1][0], [-1.1, -1.2, -1.3])
    assert [share for _, share in taken.parts] == [0.6, 0.4]


def test_between_codes_a_step_may_land_short_but_what_was_called_is_no_looser() -> None:
    page = make_printing(0.0).page
    called, weaker, none = Tint(c=50), Tint(c=25), Tint()
    tints = [called, weaker, none]
    judge = Judge.of(page, tints)
    at, noise = np.array([0.5, 0.5]), np.full(3, 0.005)
    wanted, other = (judge.expected(tint, at, None) for tint in (called, weaker))
    short = wanted + 0.7 * (other - wanted)
    strict, loose = (
        replace(judge, between=between).likelihoods(short, noise, at, tints, None) for between in (False, True)
    )
    assert strict[0] == loose[0]
    assert loose[1] > strict[1]
    assert loose[1] > loose[2], "which step it was is asked strictly"


def test_recoloured_areas_of_a_printed_page_are_found_and_nothing_else() -> None:
    drawn = screened_proof(OTHER_RUN)
    assert drawn.kind is Guide.OTHER
    report = check(drawn.guide, drawn.proof, drawn.marks)
    found = {str(mark.id) for mark in report.faults}
    assert len(drawn.faults) >= 8
    assert len(found & set(drawn.faults)) >= 0.8 * len(drawn.faults)
    assert len(found - set(drawn.faults)) <= 1
    named = {str(mark.id): mark.nearest[:2] for mark in report.marks}
    assert sum(tint in named[name] for name, tint in drawn.faults.items()) >= 0.5 * len(drawn.faults)
