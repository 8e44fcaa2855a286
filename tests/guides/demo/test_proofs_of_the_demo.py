"""The demo's proofs: printed from the plates of a drawn page, found out by the desk, and decided on once."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pytest
from PIL import Image

from bible.colour.tints import Tint
from bible.models import Series
from guides.demo.artist.presswork import LARGE, PROOFS, Mishaps, Plates, faulty, proof_jpeg
from guides.demo.proofed import decide_some
from guides.demo.story.plot import demo_story
from guides.models import ProofReading, ProofVerdict
from guides.proofs.habits import habits
from tests.factories import make_guide, make_issue, make_mark, make_part, make_proof, make_reading

TINTS = (Tint(), Tint(50, 0, 100), Tint(0, 100, 100), Tint(100, 50, 0), Tint(0, 25, 25))


def plates() -> Plates:
    """Four areas side by side, each as wide as high, under no line art."""
    areas = np.repeat(np.arange(5, dtype=np.uint16), 80)[None].repeat(200, axis=0)
    parts = {1: "scarf", 2: "coat", 3: "hull", 4: ""}
    return Plates(areas, np.zeros(areas.shape, np.uint8), TINTS, parts)


def test_every_proof_is_of_a_page_of_the_story() -> None:
    assert set(PROOFS) <= {(page.issue, page.label) for page in demo_story().pages}


def test_what_goes_wrong_goes_by_part_and_size() -> None:
    assert LARGE < 200 * 80
    assert faulty(plates(), Mishaps()) == {1: Tint(0, 0, 100), 2: Tint(), 3: Tint(50, 50, 0)}
    assert faulty(plates(), Mishaps(drops=(), bare=0, weak=0)) == {}


def test_what_was_not_cut_is_bare_paper_on_the_scan_and_the_rest_is_not() -> None:
    """A degree of turn and a border of 2 %: the middle of each area stays in its area."""
    scans = [
        np.asarray(Image.open(io.BytesIO(proof_jpeg(plates(), wrong, np.random.default_rng(3)))), float)
        for wrong in ({}, {2: Tint()})
    ]
    assert scans[0].shape == scans[1].shape
    means = [
        [scan[100:150, 5 + 50 + n * 100 - 15 : 5 + 50 + n * 100 + 15].mean(axis=(0, 1)) for n in range(5)]
        for scan in scans
    ]
    for n in (0, 1, 3, 4):
        assert np.abs(means[0][n] - means[1][n]).max() < 2
    assert np.abs(means[1][2] - means[1][0]).max() < 2
    assert means[0][2][0] - means[0][2][1] > 60, "solid magenta and yellow print red"


@pytest.mark.django_db
def test_decided_on_once_with_something_left_open(series: Series, lead: Any) -> None:
    issue = make_issue(series)
    part = make_part(series)
    for page in ("1", "2", "3"):
        guide = make_guide(issue, page=page)
        proof = make_proof(guide)
        make_reading(proof, make_mark(guide, "B3Y", part=part), verdict=ProofVerdict.INK_MISSING, ink="c")
        make_reading(proof, make_mark(guide, "R"), verdict=ProofVerdict.COLOUR_MISSING, delta_e=40.0)
        make_reading(proof, make_mark(guide, "R3"), verdict=ProofVerdict.WRONG_STRENGTH, ink="m", delta_e=2.0)
    for _ in range(2):
        decide_some(series, lead)
    said = list(ProofReading.objects.filter(series=series).values_list("decision", flat=True))
    assert sorted(said) == ["", "fault", "fault", "fault", "fault", "fault", "fault", "fault", "fine"]
    assert [one.wrong for one in habits(series).parts] == [3]
