"""``python -m tests.benchmarks.bench_chart``: sheets printed, scanned and read, all simulated, against the bars.

The measured sets stand in for houses, the nearest of the others is what is corrected. ``--family judging`` is what
counts; thresholds were chosen on ``tuning`` and watched on ``watching``. Figures are those of simulation.
"""

from __future__ import annotations

import argparse
import json
import resource
import time
from dataclasses import replace

import numpy as np

from bible.colour import press
from bible.colour.charts import STANDARD_CHARTS
from bible.colour.colorimetry import xyz_to_lab
from bible.colour.difference import delta_e_2000
from bible.colour.notation import PERCENT
from bible.colour.press import PressCondition
from bible.colour.tints import INKS, Tint
from guides.imaging.chart.drifting import drift
from guides.imaging.chart.reading import ChartReading, TargetScan, read_chart
from guides.imaging.chart.refusals import ChartRefused
from guides.imaging.chart.sheet import SheetLayout, lay_out
from tests.bible.colour.conftest import SHIPPED, measured
from tests.guides.imaging.chart import scanners
from tests.guides.imaging.chart.printed_sheets import Printed, Scan, printed, scan_of, target_reference

HOUSES = list(SHIPPED)
UNSEEN = 200


def nearest_other(house: str, sheet: SheetLayout) -> PressCondition:
    own = press.load(house).lab(sheet.tints)
    others = [press.load(name) for name in HOUSES if name != house]
    return min(others, key=lambda one: float(np.median(delta_e_2000(one.lab(sheet.tints), own))))


def misprints(sheet: SheetLayout, chart: tuple[Tint, ...], rng: np.random.Generator) -> dict[int, Tint]:
    """One step, one ink, one swap, somewhere on the chart's own part of the sheet."""
    own = [at for at, patch in enumerate(sheet.patches) if patch.tint in chart and not patch.tint.is_paper]
    at = [int(one) for one in rng.choice(own[: len(chart)], 4, replace=False)]
    tints = [sheet.patches[one].tint for one in at]
    levels = sorted({one.y for one in chart})
    inks = [ink for ink in INKS if getattr(tints[0], ink)]
    ink = str(rng.choice(inks))
    place = levels.index(getattr(tints[0], ink))
    step = levels[place - 1] if place + 1 == len(levels) or rng.random() < 0.5 else levels[place + 1]
    gone = str(rng.choice([one for one in INKS if getattr(tints[1], one)]))
    wrong = {at[0]: replace(tints[0], **{ink: step}), at[1]: replace(tints[1], **{gone: 0})}
    return wrong | {at[2]: tints[3], at[3]: tints[2]}


def row(reading: ChartReading, job: Printed, house: str, chart: tuple[Tint, ...], seed: int) -> dict[str, float]:
    made = reading.correction.condition(name="house", title="House", source="simulation")
    tints, xyz = measured(house).averaged()
    on = {patch.tint.percentages for patch in job.sheet.patches}
    off = np.array([at for at, one in enumerate(tints.tolist()) if tuple(one) not in on])
    off = np.random.default_rng(seed).choice(off, UNSEEN, replace=False)
    own = np.array([one.percentages for one in chart], dtype=np.float64)
    of_chart = delta_e_2000(made.lab(own), job.press.lab(own))
    of_others = delta_e_2000(made.lab(tints[off]), xyz_to_lab(xyz[off]))
    doubts, others = made.doubts(own), made.doubts(tints[off])
    assert doubts is not None
    assert others is not None
    return {
        "mean": float(of_chart.mean()),
        "p95": float(np.percentile(of_chart, 95)),
        "unseen": float(of_others.mean()),
        "unseen_p95": float(np.percentile(of_others, 95)),
        "inside": float((of_chart <= doubts).mean()),
        "unseen_inside": float((of_others <= others).mean()),
        "doubt": reading.mean_doubt,
    }


def read_row(family: str, count: int, dpi: float) -> dict[str, object]:
    """Scans read with a target and without, one with misprints each."""
    reference = TargetScan(target_reference())
    out: dict[str, list[dict[str, float]]] = {"target": [], "without": []}
    planted = found = false = patches = refused = 0
    for seed in range(count):
        chart = STANDARD_CHARTS["64" if seed % 2 else "125-75"].tints
        sheet = lay_out(chart, PERCENT.write, title="chart")
        house = HOUSES[seed % len(HOUSES)]
        wrong = misprints(sheet, chart, np.random.default_rng([9, seed]))
        told = {at: t for at, t in wrong.items() if _seen(press.load(house), t, sheet.patches[at].tint)}
        job = printed(sheet, press.load(house), wrong)
        scan = scan_of(job, getattr(scanners, family)(seed, dpi=dpi))
        for name, target in (("target", reference), ("without", None)):
            try:
                reading = read_chart(scan, sheet, base=nearest_other(house, sheet), target=target)
            except ChartRefused as fault:
                print(seed, house, name, "refused:", fault, flush=True)
                refused += 1
                continue
            figures = row(reading, job, house, chart, seed)
            out[name].append(figures)
            amiss = {at for at, one in enumerate(reading.patches) if one.amiss}
            planted, found = planted + len(told), found + len(amiss & set(told))
            false, patches = false + len(amiss - set(wrong)), patches + len(sheet.patches)
            print(seed, house, name, {key: round(value, 2) for key, value in figures.items()}, flush=True)
    means = {
        name: {key: round(float(np.mean([one[key] for one in rows])), 3) for key in rows[0]}
        for name, rows in out.items()
        if rows
    }
    audit = {"planted": planted, "found": found, "false": false, "patches": patches, "refused": refused}
    return {"family": family, "scans": count, **means, **audit}


def _seen(house: PressCondition, one: Tint, other: Tint) -> bool:
    """Whether the house prints the two apart at all: below 2 CIEDE2000 nobody could tell a misprint."""
    lab = house.lab(np.array([one.percentages, other.percentages], dtype=np.float64))
    return float(delta_e_2000(lab[0], lab[1])) >= 2.0


def drift_row(family: str, count: int, dpi: float) -> dict[str, object]:
    """Two runs scanned by one scanner: 3 points of dot gain in one ink, then none."""
    chart = STANDARD_CHARTS["64"].tints
    sheet = lay_out(chart, PERCENT.write, title="chart")
    found = others = claimed = 0
    for seed in range(count):
        house = press.load(HOUSES[seed % len(HOUSES)])
        ink = seed % 4
        make = getattr(scanners, family)
        readings = []
        for again, gain in ((0, 0.0), (1, 3.0), (2, 0.0)):
            job = _grown(sheet, house, ink, gain)
            scan = replace(make(seed, dpi=dpi), seed=1000 * again + seed, turn=float(0.7 * again - 0.7))
            readings.append(read_chart(_scan(job, scan), sheet, base=nearest_other(house.name, sheet)))
        lab = [np.array([one.lab for one in reading.patches]) for reading in readings]
        made = readings[0].correction.condition(name="house", title="House", source="simulation")
        changed, same = drift(made, sheet.tints, lab[0], lab[1]), drift(made, sheet.tints, lab[0], lab[2])
        found += changed[ink].gain_sure
        others += sum(one.gain_sure or one.film_sure for at, one in enumerate(changed) if at != ink)
        claimed += any(one.said for one in same)
        print(seed, house.name, INKS[ink], [one.said for one in changed], [one.said for one in same], flush=True)
    return {"family": family, "pairs": count, "found": found, "other_inks": others, "claimed_of_none": claimed}


def _grown(sheet: SheetLayout, house: PressCondition, ink: int, gain: float) -> Printed:
    held = []
    for patch in sheet.patches:
        values = list(patch.tint.percentages)
        share = values[ink] / 100
        values[ink] = round(values[ink] + 4 * gain * share * (1 - share))
        held.append(Tint(*values))
    return Printed(sheet, house, tuple(held))


def _scan(job: Printed, scan: Scan) -> np.ndarray:
    return scan_of(job, scan, with_target=False)


def speed() -> dict[str, float]:
    """One sheet at 600 dots an inch: seconds, and MB at the most beyond what was taken before its picture."""
    sheet = lay_out(STANDARD_CHARTS["125-75"].tints, PERCENT.write, title="chart")
    small = scan_of(printed(sheet, press.load("newsprint")), scanners.judging(0, dpi=150.0))
    import cv2

    scan = cv2.resize(small, None, fx=4, fy=4, interpolation=cv2.INTER_CUBIC)
    start, wall = time.process_time(), time.perf_counter()
    read_chart(scan, sheet, target=TargetScan(target_reference()))
    return {
        "pixels": float(scan.shape[0] * scan.shape[1]),
        "seconds": round(time.perf_counter() - wall, 2),
        "processor": round(time.process_time() - start, 2),
        "peak_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=["read", "drift", "speed"])
    parser.add_argument("--family", default="judging", choices=["tuning", "watching", "judging"])
    parser.add_argument("--scans", type=int, default=20)
    parser.add_argument("--dpi", type=float, default=150.0)
    asked = parser.parse_args()
    if asked.what == "speed":
        print(json.dumps(speed()))
        return
    work = read_row if asked.what == "read" else drift_row
    print(json.dumps(work(asked.family, asked.scans, asked.dpi)))


if __name__ == "__main__":
    main()
