"""Odds fitted to pages in watched hands: how sure a reading is, by what came with it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

from guides.imaging.writing.crops import upright
from guides.imaging.writing.decode import likelihoods
from guides.imaging.writing.finder import find, union_share
from guides.imaging.writing.hearing import hear
from guides.imaging.writing.lexicon import Lexicon
from guides.imaging.writing.models import FILES, LEDGER, Models, read
from guides.imaging.writing.odds import FACTS, Doubles
from guides.imaging.writing.page import SURELY_OTHER
from guides.imaging.writing.reader import say, together
from guides.imaging.writing.shapes import said_at
from guides.training.grounds import ground
from guides.training.judging import NOTATIONS, grown, written_page
from guides.training.media import Picture
from guides.training.stream import hands_of
from guides.training.tiles import CODE, CROSSED, IGNORED, UNREADABLE, Word

TEMPERATURE = 1.4
"""Likelihoods are flattened so much before they become chances: columns beside each other repeat one another.
Of 1, 1.1, 1.25, 1.4 and 1.6 this one gave watched hands the least log loss (0.1367)."""

RIDGE = 0.003
"""How strongly weights are held back, per fitted word."""


OFTEN = 8
"""Sights from which a sign has a prototype."""


@dataclass
class OddsEvidence:
    """Facts (n, FACTS), whether each is a code, whether it is one and read rightly."""

    facts: list[Doubles]
    code: list[bool]
    right: list[bool]


def gather(evidence: OddsEvidence, page: Picture, words: list[Word], form: str, nets: Models) -> None:
    """Add what is found on one page whose words are known."""
    notation = NOTATIONS[form]
    lexicon = Lexicon.of(notation)
    asked = [item for item in find(nets.finder, page) if item.kinds[1] < SURELY_OTHER]
    if not asked:
        return
    heard = hear(page, asked, lexicon, nets, TEMPERATURE)
    for place, item in enumerate(heard.asked):
        shares = [(union_share(item.place, word.place), number) for number, word in enumerate(words)]
        best, number = max(shares, default=(0.0, 0))
        word = words[number] if best > 0.3 else None
        if word is not None and word.kind in (IGNORED, UNREADABLE):
            continue
        is_code = word is not None and word.kind in (CODE, CROSSED)
        truth = notation.write(notation.read(word.text)) if word is not None and is_code else None
        evidence.facts.append(heard.facts[place])
        evidence.code.append(is_code)
        evidence.right.append(lexicon.codes[int(heard.shares[place].argmax())] == truth)


def fitted(evidence: OddsEvidence) -> dict[str, object]:
    """The odds, as ``weights.json`` keeps them."""
    facts = np.array(evidence.facts)
    return {
        "temperature": TEMPERATURE,
        "facts": list(FACTS),
        "code": _logistic(facts, np.array(evidence.code, float)),
        "right": _logistic(facts, np.array(evidence.right, float)),
        "fitted on": len(facts),
    }


def _logistic(facts: Doubles, truth: npt.NDArray[np.float64]) -> list[float]:
    def loss(weights: Doubles) -> tuple[float, Doubles]:
        scores = facts @ weights
        wrong = np.logaddexp(0, scores) - truth * scores
        slope = facts.T @ (1 / (1 + np.exp(-np.clip(scores, -30, 30))) - truth) / len(facts)
        return float(wrong.mean() + RIDGE * 0.5 * (weights[1:] ** 2).mean()), slope + np.r_[
            0, RIDGE * weights[1:] / len(weights[1:])
        ]

    minimum = minimize(loss, np.zeros(facts.shape[1]), jac=True, method="L-BFGS-B")
    return [round(float(weight), 5) for weight in minimum.x]


def usual_shapes(pages: Iterable[tuple[Picture, list[Word], str]], nets: Models) -> dict[str, list[float]]:
    """Everybody's prototype of each sign that is seen often enough: what the reader says where it stands."""
    total: dict[str, Doubles] = {}
    count: dict[str, int] = {}
    for page, words, form in pages:
        lexicon, notation = Lexicon.of(NOTATIONS[form]), NOTATIONS[form]
        codes = [word for word in words if word.kind == CODE]
        if not codes:
            continue
        shares = together(say(nets.reader, [upright(page, word.place) for word in codes]))
        _, spellings = likelihoods(shares, lexicon)
        for number, word in enumerate(codes):
            code = lexicon.codes.index(notation.write(notation.read(word.text)))
            text = lexicon.spellings[int(spellings[number, code])].text
            for sign, shape in zip(text, said_at(shares[number], text), strict=True):
                total[sign] = total.get(sign, 0.0) + shape
                count[sign] = count.get(sign, 0) + 1
    return {sign: np.round(total[sign] / count[sign], 2).tolist() for sign in total if count[sign] >= OFTEN}


def fit(folder: Path, fonts: Path, pages: int, workers: int = 1) -> None:
    """Fit the odds on so many pages in watched hands, some of them faint; write ``weights.json`` beside the networks
    in ``folder``."""
    keep(folder, {"temperature": TEMPERATURE, "code": [0.0] * len(FACTS), "right": [0.0] * len(FACTS)})
    with get_context("spawn").Pool(workers) as pool:
        looked = pool.starmap(_looked, [(folder, fonts, number) for number in range(pages)], chunksize=1)
    evidence = OddsEvidence([], [], [])
    for _, facts in looked:
        evidence.facts += facts.facts
        evidence.code += facts.code
        evidence.right += facts.right
    if not evidence.facts:
        print("Nothing was found on the pages: no odds could be fitted.", flush=True)
        return
    keep(folder, fitted(evidence), usual_shapes((page for page, _ in looked), read(folder)))


def _looked(folder: Path, fonts: Path, number: int) -> tuple[tuple[Picture, list[Word], str], OddsEvidence]:
    """One page in watched hands, and what is found on it."""
    cv2.setNumThreads(1)
    rng, form = np.random.default_rng(70_000 + number), ("letters", "percent")[number % 2]
    paper = grown(ground(rng), int(rng.integers(1300, 2300)))
    page, words = written_page(paper, hands_of(fonts, "watched"), form, rng, faint=number % 8 in (2, 5))
    evidence = OddsEvidence([], [], [])
    gather(evidence, page, words, form, read(folder))
    return (page, words, form), evidence


def keep(folder: Path, odds: dict[str, object], shapes: dict[str, list[float]] | None = None) -> None:
    """Write ``weights.json``: checksums of the networks as they lie there, the odds, everybody's prototypes."""
    sums = {name: hashlib.sha256((folder / name).read_bytes()).hexdigest() for name in FILES}
    (folder / LEDGER).write_text(json.dumps({"sums": sums, "odds": odds, "shapes": shapes or {}}) + "\n")
