"""What several modules of this room begin with."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pytest
from PIL import Image

from guides.models import Guide, Proof, ProofReading
from tests.factories import (
    make_guide,
    make_issue,
    make_mark,
    make_proof,
    make_reading,
)


@pytest.fixture
def guide(series: Any, lead: Any) -> Guide:
    made = make_guide(make_issue(series), by=lead, page="7")
    # large enough for the engine to look at it
    noise = np.random.default_rng(4).integers(0, 255, (620, 420, 3), dtype=np.uint8)
    out = io.BytesIO()
    Image.fromarray(noise).save(out, "JPEG")
    with made.screen.storage.open(str(made.screen.name), "wb") as file:
        file.write(out.getvalue())
    return made


@pytest.fixture
def proof(guide: Guide) -> Proof:
    return make_proof(guide)


@pytest.fixture
def reading(guide: Guide, proof: Proof) -> ProofReading:
    return make_reading(proof, make_mark(guide, "YR3B2"))
