"""What is said of the press over a whole page: which ink runs light or heavy, and by how much where that can be told.

How heavy an ink is, is told against a press condition, and a proof need not have been printed on the one assumed: on
another paper every solid is richer, and a film read against newsprint comes out a third too heavy. So the page is
fitted to every condition on file. By the likelihood of its marks (Rasmussen and Williams 2006, section 5.4.1) those
remain that it may have been printed on. Where the one assumed is among them, it tells which way an ink runs; else
all of them must agree on that. A figure is said where they agree on the figure too. Only where an ink would be said
to run wrong at all, for five more fits take a third of a second.

`patchwork_press`, seeds 1 to 5, newsprint assumed: on the three sheets printed on another paper films were off by
0.36 in the mean (nine figures said) and are by 0.07 (none said); on the two of newsprint by 0.03 then and now.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bible.colour import press as presses
from bible.colour.tints import INK_NAMES
from guides.imaging.proof.page_press import PagePress, fit
from guides.imaging.proof.press_shift import agreeing, films

FloatArray = npt.NDArray[np.float64]

SHIFT_SAID = 0.07
"""A page-wide change of an ink's amount that is put into words; smaller ones no eye finds."""

SHIFT_SURE = 1.4
"""Standard errors that a change must reach to be put into words (about 1 in 6 by chance)."""

AGREEING, FEWEST = 0.67, 4
"""Share of an ink's marks that must show a change by themselves, and how many there must be, for it to be the press:
what a few areas show is the plates' fault, or an area that was not found."""

ENOUGH = 16
"""Marks from which a page can tell on which condition it was printed."""

LIKELIER = 6.0
"""Log likelihood by which a condition must be behind the likeliest to be out of question."""

ONE_FIGURE = 0.08
"""How far apart the figures of the conditions that remain may lie for one to be said."""


@dataclass(frozen=True)
class InkShift:
    """Density of an ink's solid over the page against the condition's: -0.12 is 12 % light; ``error`` standard."""

    share: float
    error: float


@dataclass(frozen=True, eq=False)
class _Seen:
    """A page as one condition sees it: films (3,) of the solids, their errors (3,), and of which inks that may be
    said."""

    page: PagePress
    film: FloatArray
    error: FloatArray
    plain: npt.NDArray[np.bool_]

    @classmethod
    def of(cls, page: PagePress) -> _Seen:
        film, error = films(page)
        share, count = agreeing(page, film)
        large = np.abs(film) > np.maximum(SHIFT_SAID, SHIFT_SURE * error)
        return cls(page, film, error, large & (share >= AGREEING) & (count >= FEWEST))


def ink_shift(page: PagePress) -> tuple[dict[str, InkShift], str]:
    """How each ink runs over the page, and that in a sentence."""
    own = _Seen.of(page)
    seen = [_Seen.of(candidate) for candidate in plausible(page)] if own.plain.any() else [own]
    film = np.array([sight.film for sight in seen])
    apart = np.ptp(film, axis=0)
    error = np.hypot(seen[0].error, 0.5 * apart)
    shift = {ink: InkShift(float(film[0, i]), float(error[i])) for i, ink in enumerate("cmy")}
    one_way = np.all([sight.plain for sight in seen], axis=0) & (np.abs(np.sign(film).sum(axis=0)) == len(seen))
    if seen[0].page is page:  # the condition that was stated is believed until the marks speak against it
        one_way = own.plain
    clauses = [
        f"all {INK_NAMES[ink]} prints {'heavy' if film[0, i] > 0 else 'light'}"
        + (f" ({100 * film[0, i]:+.0f} %)" if apart[i] <= ONE_FIGURE else "")
        for i, ink in enumerate("cmy")
        if one_way[i]
    ]
    sentence = "; ".join(clauses) + ": the press, not the plates" if clauses else ""
    if seen[0].page is not page:
        likelier = seen[0].page.condition.title
        other = f"the sheet looks more like “{likelier}” than like “{page.condition.title}”"
        return shift, f"{other}; {sentence}" if sentence else other
    return shift, sentence or "no ink runs clearly light or heavy over the whole page"


def plausible(page: PagePress) -> Sequence[PagePress]:
    """The page fitted to the conditions that it may have been printed on: its own first if that is one of them, else
    the likeliest."""
    if len(page.tones) < ENOUGH:
        return [page]
    own = page.condition
    others = [presses.load(info.name) for info in presses.available() if info.name != own.name]
    belief = np.ones(len(page.tones))
    fitted = [
        page, *(fit(condition, page.tones, page.reading_noise, page.tints, page.at, belief) for condition in others)
    ]  # fmt: skip
    likely = np.array([likelihood(candidate) for candidate in fitted])
    best = int(likely.argmax())
    kept = [candidate for candidate, high in zip(fitted, likely, strict=True) if high > likely[best] - LIKELIER]
    return sorted(kept, key=lambda candidate: (candidate is not page, candidate is not fitted[best]))


def likelihood(page: PagePress) -> float:
    """Log likelihood of a fitted page's tones, without the constant that all fits of a page share."""
    miss = (page.tones - page.own.tone).ravel()
    return 0.5 * float(np.linalg.slogdet(page.inverse)[1] - miss @ page.alpha)
