"""What a click on a page takes: the outline of the area there."""

from __future__ import annotations

import io

import numpy as np
import pytest
from django.core.files.base import ContentFile
from PIL import Image

from guides.core import outlines
from guides.core.page_areas import outline_at
from guides.core.page_maps import map_of
from guides.models import Guide
from tests.factories import make_guide, make_issue, make_series

pytestmark = pytest.mark.django_db


@pytest.fixture
def guide() -> Guide:
    """Two painted boxes side by side on bare paper."""
    image = np.full((600, 400, 3), 246, np.uint8)
    image[80:400, 40:200], image[80:400, 200:360] = (200, 60, 60), (60, 90, 200)
    out = io.BytesIO()
    Image.fromarray(image).save(out, "JPEG", quality=95)
    made = make_guide(make_issue(make_series()))
    made.screen.save("tests/clicked.jpg", ContentFile(out.getvalue()))
    return made


def test_the_outline_is_that_of_the_area_clicked(guide: Guide) -> None:
    """Point by point what the map itself says, but for a rim of two hundredths of the page."""
    outline = outlines.from_text(outline_at(guide, "0.3", "0.4"))
    page = map_of(guide)
    clicked = page.area_at_fraction(0.3, 0.4)
    assert clicked is not None
    for x in np.linspace(0.02, 0.98, 13):
        for y in np.linspace(0.02, 0.98, 13):
            if min(abs(x - 0.1), abs(x - 0.5), abs(y - 80 / 600), abs(y - 400 / 600)) > 0.02:
                there = page.area_at_fraction(float(x), float(y))
                assert outlines.holds(outline, x, y) == (there is not None and there.id == clicked.id), (x, y)


@pytest.mark.parametrize(("x", "y"), [(None, None), ("2", "0.5"), ("nan", "0.5"), ("left", "top")])
def test_a_place_that_is_none_has_no_outline(guide: Guide, x: str | None, y: str | None) -> None:
    assert outline_at(guide, x, y) == ""
