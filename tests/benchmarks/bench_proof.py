"""How well the proof desk does on printed pages it has not seen: ``python tests/benchmarks/bench_proof.py``.

Draws pages, prints them with faults by every printing model of the tests' generator, judges the scans and prints a table per
model and difficulty: registration error at the marks (guide px), precision and recall of faults, recall of wrong strengths
and of gradient steps, how often the probabilities keep their word, time and memory. Seeds start at 10,000; the engine's
thresholds were set on pages with seeds below 1,000 printed by the models marked *, the others were held out.
"""

from __future__ import annotations

import argparse
import resource
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from guides.imaging.proof_files import marks_from_json
from guides.imaging.proofing import check
from guides.imaging.registration import NotRegistered
from guides.imaging.verdicts import Verdict
from tests.guides.imaging.printing_models import HELD_OUT, TUNED
from tests.guides.imaging.proof_generator import LEVELS, LEVELS_125, Page, draw_page, paint_guide
from tests.guides.imaging.proof_printer import Proof, conditions, draw_faults, print_proof

FIRST_SEED = 10_000


@dataclass
class Tally:
    pages: int = 0
    refused: int = 0
    marks: int = 0
    errors: list[float] = field(default_factory=list)
    hits: int = 0
    false: int = 0
    faults: int = 0
    kinds: int = 0
    strengths: list[bool] = field(default_factory=list)
    steps: list[bool] = field(default_factory=list)
    undecided: int = 0
    said: list[tuple[float, bool]] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)

    def add(self, other: Tally) -> None:
        for name, value in vars(other).items():
            setattr(self, name, getattr(self, name) + value)

    def row(self, name: str) -> str:
        def share(part: float, whole: float) -> str:
            return f"{100 * part / whole:5.1f}" if whole else "    -"

        errors = np.array(self.errors or [np.nan])
        said = np.array(self.said, dtype=float).reshape(-1, 2)
        gap = abs(said[:, 0].mean() - said[:, 1].mean()) if len(said) else float("nan")
        return (
            f"{name:22s} {self.pages:5d} {self.refused:4d} {self.marks:6d} {self.faults:6d}  "
            f"{np.median(errors):5.2f} {np.percentile(errors, 95):5.2f}   {share(self.hits, self.hits + self.false)} "
            f"{share(self.hits, self.faults)}  {share(sum(self.strengths), len(self.strengths))} "
            f"{share(sum(self.steps), len(self.steps))} {share(self.kinds, self.hits)}  "
            f"{share(self.undecided, self.marks)}  {gap:6.4f}  {np.median(self.seconds or [np.nan]):5.2f}"
        )


HEAD = "model                  pages refu  marks faults   px med  p95    prec   rec  strength step  kind   undec  p gap     s"


def printed(seed: int, model: str, brutal: bool, height: int, dpi: float | None) -> tuple[Page, np.ndarray, Proof]:
    rng = np.random.default_rng(seed)
    levels = LEVELS_125 if seed % 5 == 0 else LEVELS
    page = draw_page(seed, int(height * rng.uniform(0.64, 0.72)), height, int(rng.integers(25, 81)), levels)
    faults = draw_faults(page, seed, 0.08, levels)
    proof = print_proof(page, conditions(seed, model, brutal, dpi), faults, seed)
    return page, paint_guide(page, seed), proof


def judged(page: Page, guide: np.ndarray, proof: Proof) -> Tally:
    tally = Tally(pages=1)
    start = time.process_time()
    try:
        report = check(guide, proof.image, marks_from_json(page.to_json()))
    except NotRegistered as error:
        print("   refused:", error)
        return Tally(pages=1, refused=1, faults=len(proof.faults))
    tally.seconds.append(time.process_time() - start)
    places = np.array([(mark.x, mark.y) for mark in page.marks])
    off = report.registration.to_proof(places) - proof.geometry.to_proof(places)
    tally.errors += list(np.linalg.norm(off, axis=1) / report.registration.scale)
    for mark in report.marks:
        fault = proof.faults.get(str(mark.id))
        is_fault = mark.verdict.is_fault
        tally.marks += 1
        tally.undecided += mark.verdict is Verdict.CANNOT_TELL
        if mark.verdict is not Verdict.CANNOT_TELL:
            tally.said.append((mark.p, mark.verdict == (fault.kind if fault else "as_called")))
        if fault is None:
            tally.false += is_fault
            continue
        tally.faults += 1
        tally.hits += is_fault
        tally.kinds += mark.verdict == fault.kind
        if fault.kind == "wrong_strength":
            tally.strengths.append(is_fault)
        if fault.kind == "gradient_step":
            tally.steps.append(mark.verdict is Verdict.GRADIENT_STEP)
    return tally


def others(count: int, height: int) -> Iterator[bool]:
    """Whether proofs of other pages are refused."""
    for seed in range(FIRST_SEED, FIRST_SEED + count):
        _, guide, _ = printed(seed, "press", False, height, 150.0)
        _, _, other = printed(seed + 500, "filters", False, height, 150.0)
        try:
            check(guide, other.image, [])
        except NotRegistered:
            yield True
        else:
            yield False


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=20, help="pages per difficulty, dealt out over the models")
    parser.add_argument("--height", type=int, default=1500, help="guide height, px")
    parser.add_argument("--dpi", type=float, default=None, help="scan resolution; else 150, 200 or 240 by the seed")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    models = (*TUNED, *HELD_OUT)
    print(HEAD)
    for brutal in (False, True):
        total, per_model = Tally(), {model: Tally() for model in models}
        for number in range(options.seeds):
            model = models[number % len(models)]
            seed = FIRST_SEED + number + (5000 if brutal else 0)
            tally = judged(*printed(seed, model, brutal, options.height, options.dpi))
            per_model[model].add(tally)
            total.add(tally)
        label = "brutal" if brutal else "normal"
        for model in models:
            print(per_model[model].row(f"{model}{'*' if model in TUNED else ''} {label}"))
        print(total.row(f"all {label}"))
    refused = list(others(max(2, options.seeds // 4), 900))
    print(f"proofs of other pages refused: {sum(refused)} of {len(refused)}")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory with the generator in the same process: {peak:.0f} MB")


if __name__ == "__main__":
    main()
