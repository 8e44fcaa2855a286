"""The outlines of a page's areas, as the desk lights them up: to members only, kept, refused where there is no picture."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pytest
from django.core.files.base import ContentFile
from django.test import Client
from django.urls import reverse
from PIL import Image

from bible.models import Series
from guides.core.page_maps import map_of, outlines_of
from guides.models import Guide
from tests.factories import make_guide, make_issue, make_member
from tests.guides.imaging.press.test_printed import PAINTS
from tests.pages import client_of, member_client, methods_are_refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def guide(series: Series, lead: Any) -> Guide:
    image = np.full((600, 400, 3), 246, np.uint8)
    image[80:400, 40:200], image[80:400, 200:360] = PAINTS[0], PAINTS[1]
    out = io.BytesIO()
    Image.fromarray(image).save(out, "JPEG", quality=95)
    made = make_guide(make_issue(series), by=lead)
    made.screen.save("tests/outlined.jpg", ContentFile(out.getvalue()))
    return made


def address(guide: Guide) -> str:
    return reverse("page-areas", args=[guide.series.slug, guide.pk])


@pytest.mark.parametrize("role", ["lead", "fill-in", "editor", "guest"])
def test_every_member_has_them(guide: Guide, role: str) -> None:
    answer = member_client(guide.series, role).get(address(guide))
    told = answer.json()
    page = map_of(guide)
    assert (told["width"], told["height"]) == page.labels.shape[::-1]
    assert [area["id"] for area in told["areas"]] == [area.id for area in page.areas]
    painted = [area for area in told["areas"] if "paper" not in area]
    assert len(painted) == 2
    for area in painted:
        left, top, right, bottom = area["box"]
        assert left < right <= told["width"]
        assert top < bottom
        assert area["d"].startswith("M")
    assert "private" in answer["Cache-Control"], "no shared cache may keep it"
    assert answer["Content-Type"] == "application/json"


def test_they_are_drawn_once(guide: Guide, monkeypatch: pytest.MonkeyPatch) -> None:
    first = outlines_of(guide)
    monkeypatch.setattr("guides.core.page_maps.outlines", None)
    assert outlines_of(guide) == first


def test_nobody_else_has_them(guide: Guide) -> None:
    assert Client().get(address(guide))["Location"].startswith(reverse("login"))
    assert client_of(make_member(None, "lead")).get(address(guide)).status_code == 404
    other = make_member(None, "lead")
    slug = other.memberships.get().series.slug
    assert client_of(other).get(reverse("page-areas", args=[slug, guide.pk])).status_code == 404


def test_they_are_read_only(guide: Guide, lead_client: Client) -> None:
    methods_are_refused(lead_client, address(guide), "post", "put", "delete")


def test_a_guide_without_its_picture_has_none(guide: Guide, lead_client: Client) -> None:
    guide.screen.storage.delete(str(guide.screen.name))
    assert lead_client.get(address(guide)).status_code == 404


def test_the_desk_says_where_they_are(guide: Guide, lead_client: Client) -> None:
    page = lead_client.get(guide.get_absolute_url()).content.decode()
    assert f'data-areas="{address(guide)}?map=' in page
