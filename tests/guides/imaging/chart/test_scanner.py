"""Learning a scanner, beside colour-science's own corrections on the colour target that it publishes."""

from __future__ import annotations

import numpy as np
import pytest

from bible.colour.colorimetry import xyz_to_lab
from bible.colour.difference import delta_e_2000
from bible.colour.science import colour_science
from guides.imaging.chart.scanner import BELIEVED, Scanner, learn
from tests.guides.imaging.chart import scanners
from tests.guides.imaging.chart.printed_sheets import Scan, observer, target_spectra

XYZ = target_spectra()[1] @ observer()


def make_light(scan: Scan) -> np.ndarray:
    return np.maximum(scan.seen(target_spectra()[1]), 1e-4) ** scan.power


@pytest.mark.parametrize("seed", range(4))
def test_patches_left_out_come_as_near_as_by_the_librarys_own_corrections(seed: int) -> None:
    """Each of the 24 patches predicted from the other 23, by ``colour.colour_correction`` and by us."""
    light = make_light(scanners.judging(seed))
    theirs = []
    for method in ("Cheung 2004", "Finlayson 2015"):
        off = []
        for at in range(len(XYZ)):
            others = np.arange(len(XYZ)) != at
            said = colour_science().colour_correction(light[at], light[others], XYZ[others] / 100, method=method)
            off.append(delta_e_2000(xyz_to_lab(np.maximum(100 * said, 1e-4)), xyz_to_lab(XYZ[at])))
        theirs.append(float(np.mean(off)))
    assert learn(light, XYZ).left_out.mean() <= min(theirs) * 1.05


def test_a_scanner_that_tells_the_truth_is_left_as_it_is() -> None:
    from bible.colour.colorimetry import xyz_to_linear_srgb

    inside = (xyz_to_linear_srgb(XYZ) > 0).all(axis=1)
    learned = learn(xyz_to_linear_srgb(XYZ)[inside], XYZ[inside])
    np.testing.assert_allclose(learned.lab(xyz_to_linear_srgb(XYZ)[inside]), xyz_to_lab(XYZ[inside]), atol=0.3)
    assert learned.sd < BELIEVED.sd


def test_without_a_target_the_files_colours_are_believed_and_doubted() -> None:
    assert isinstance(BELIEVED, Scanner)
    assert "no target" in BELIEVED.said
    np.testing.assert_allclose(BELIEVED.lab(np.array([[1.0, 1.0, 1.0]])), [[100, 0, 0]], atol=0.02)
