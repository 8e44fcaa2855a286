"""The proof desk against pages and a press it was not made for: nothing of the generator behind them is shared with the
one whose pages its thresholds were set on. Overprints by spectra, CIE 1931 observer and D65 as colour-science has them.
"""

from __future__ import annotations

import numpy as np
import pytest

from guides.imaging.proof.files import marks_from_json
from guides.imaging.proof.proofing import check
from guides.imaging.proof.registration import NotRegistered
from tests.guides.imaging.proof.strange_press import strange_proof
from tests.guides.imaging.strange_scenes import draw_scene, paint_scene

HEIGHT, MARKS = 1000, 40
SEEDS = (12,)
"""One page: printing it dot by dot takes seconds. The benchmark prints dozens."""
OFF_MEDIAN, OFF_MOST = 0.6, 1.4
"""Pixels of the guide: what the marks may lie off in the median, and 95 of 100 of them."""


@pytest.mark.parametrize("seed", SEEDS)
def test_the_proof_lies_on_its_guide_and_only_slips_are_found(seed: int) -> None:
    scene, guide, sheet = strange_proof(seed, marks=MARKS, height=HEIGHT)
    report = check(guide, sheet.image, marks_from_json(scene.marks()))
    found = {str(mark.id) for mark in report.marks if mark.verdict.is_fault}
    assert len(sheet.slips) >= 3
    assert len(found & set(sheet.slips)) >= 0.9 * len(sheet.slips)
    assert len(found - set(sheet.slips)) <= 1
    places = np.array([spot[:2] for spot in scene.spots.values()], dtype=float)
    off = report.registration.to_proof(places) - sheet.lie.to_scan(places)
    far = np.linalg.norm(off, axis=1) / report.registration.scale
    assert np.median(far) < OFF_MEDIAN
    assert np.percentile(far, 95) < OFF_MOST
    with pytest.raises(NotRegistered):  # another page, by the same hand
        check(paint_scene(draw_scene(seed + 1, guide.shape[1], guide.shape[0], MARKS), seed + 1), sheet.image, [])
