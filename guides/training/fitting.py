"""Odds fitted to pages in watched hands: how sure a reading is, by what came with it."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

from guides.imaging.writing.finder import find, union_share
from guides.imaging.writing.hearing import hear
from guides.imaging.writing.lexicon import Lexicon
from guides.imaging.writing.models import FILES, LEDGER, Models, read
from guides.imaging.writing.odds import FACTS, Doubles
from guides.imaging.writing.page import SURELY_OTHER
from guides.training.grounds import ground
from guides.training.judging import NOTATIONS, grown, written_page
from guides.training.media import Picture
from guides.training.stream import hands_of
from guides.training.tiles import CODE, CROSSED, IGNORED, UNREADABLE, Word

TEMPERATURE = 1.4
"""Likelihoods are flattened so much before they become chances: columns beside each other repeat one another."""

RIDGE = 0.003
"""How strongly weights are held back, per fitted word."""


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
        said = facts @ weights
        wrong = np.logaddexp(0, said) - truth * said
        slope = facts.T @ (1 / (1 + np.exp(-np.clip(said, -30, 30))) - truth) / len(facts)
        return float(wrong.mean() + RIDGE * 0.5 * (weights[1:] ** 2).mean()), slope + np.r_[
            0, RIDGE * weights[1:] / len(weights[1:])
        ]

    found = minimize(loss, np.zeros(facts.shape[1]), jac=True, method="L-BFGS-B")
    return [round(float(weight), 5) for weight in found.x]


def fit(folder: Path, fonts: Path, pages: int) -> None:
    """Fit the odds on so many pages in watched hands; write ``weights.json`` beside the networks in ``folder``."""
    keep(folder, {"temperature": TEMPERATURE, "code": [0.0] * len(FACTS), "right": [0.0] * len(FACTS)})
    nets, evidence, hands = read(folder), OddsEvidence([], [], []), hands_of(fonts, "watched")
    for number in range(pages):
        rng = np.random.default_rng(70_000 + number)
        form = ("letters", "percent")[number % 2]
        page, words = written_page(grown(ground(rng), int(rng.integers(1300, 2300))), hands, form, rng)
        gather(evidence, page, words, form, nets)
    keep(folder, fitted(evidence))


def keep(folder: Path, odds: dict[str, object]) -> None:
    """Write ``weights.json``: checksums of the networks as they lie there, and the odds."""
    sums = {name: hashlib.sha256((folder / name).read_bytes()).hexdigest() for name in FILES}
    (folder / LEDGER).write_text(json.dumps({"sums": sums, "odds": odds}, indent=1) + "\n")
