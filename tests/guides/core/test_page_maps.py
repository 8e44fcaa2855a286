"""A guide's map: made once, kept beside its picture, read by everything, made anew where it does not hold."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from PIL import Image

from bible.models import Series
from guides.core import page_maps
from guides.core.page_maps import keep_map, kept_map, map_of, without_map
from guides.imaging.page import regions
from guides.imaging.page.page_map import PageMap
from guides.imaging.paint import reading
from guides.imaging.writing import mapping
from guides.models import Guide
from guides.paint.services import read_guide, voice_at
from guides.preview.plates import PLATES, plate_of
from guides.preview.prints import print_of
from guides.preview.services import look_at
from tests.factories import make_guide, make_issue, make_mark, make_revision
from tests.guides.imaging.press.test_printed import PAINTS

pytestmark = pytest.mark.django_db


def painted(guide: Guide) -> Guide:
    """Two painted boxes side by side and a third that stands alone."""
    image = np.full((600, 400, 3), 246, np.uint8)
    image[80:400, 40:200], image[80:400, 200:360], image[450:560, 100:300] = PAINTS[0], PAINTS[1], PAINTS[2]
    out = io.BytesIO()
    Image.fromarray(image).save(out, "JPEG", quality=95)
    guide.screen.save("tests/mapped.jpg", ContentFile(out.getvalue()))
    return guide


@pytest.fixture
def guide(series: Series, lead: Any) -> Guide:
    made = painted(make_guide(make_issue(series), by=lead))
    make_mark(made, "YR", x=0.3, y=0.4)
    make_mark(made, "B", x=0.7, y=0.4)
    return made


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """By whom maps were made, one entry each time."""
    calls: list[str] = []

    def counting(name: str, real: Callable[..., PageMap]) -> Callable[..., PageMap]:
        def make(*args: Any, **size: Any) -> PageMap:
            calls.append(name)
            return real(*args, **size)

        return make

    for module in (mapping, regions, reading):
        monkeypatch.setattr(module, "read_page_map", counting(module.__name__, module.read_page_map))
    return calls


def test_a_map_is_made_once_and_says_the_same_afterwards(guide: Guide, made: list[str]) -> None:
    first = map_of(guide)
    again = map_of(guide)
    assert len(made) == 1
    assert (again.labels == first.labels).all()
    assert again.areas == first.areas
    assert again.area_at_fraction(0.3, 0.4) != again.area_at_fraction(0.7, 0.4)


def test_everything_reads_the_one_map(guide: Guide, made: list[str]) -> None:
    assert keep_map(guide)
    assert not keep_map(guide)
    read_guide(guide)
    voice_at(guide, 0.5, 0.85)
    print_of(guide)
    plate_of(guide, PLATES["m"])
    look_at(guide)
    assert made == ["guides.imaging.writing.mapping"]


def test_a_page_without_a_map_is_read_all_the_same_and_has_one_then(guide: Guide) -> None:
    assert kept_map(guide) is None
    assert without_map([guide]) == [guide]
    read_guide(guide)
    assert kept_map(guide) is not None
    assert without_map([guide]) == []


def test_a_damaged_map_is_made_anew(guide: Guide, made: list[str]) -> None:
    map_of(guide)
    name = page_maps._name(guide)
    default_storage.delete(name)
    default_storage.save(name, ContentFile(b"no map"))
    assert map_of(guide).areas
    assert len(made) == 2
    assert kept_map(guide) is not None


def test_another_way_of_making_maps_takes_the_place_of_the_earlier(
    guide: Guide, made: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    map_of(guide)
    earlier = page_maps._name(guide)
    monkeypatch.setattr(page_maps, "VERSION", page_maps.VERSION + 1)
    assert without_map([guide]) == [guide]
    assert keep_map(guide)
    assert len(made) == 2
    assert not default_storage.exists(earlier)


def test_a_new_scan_has_a_map_of_its_own(guide: Guide) -> None:
    map_of(guide)
    newer = painted(make_revision(guide))
    assert kept_map(newer) is None
    map_of(newer)
    assert kept_map(guide) is not None


def test_a_guide_whose_picture_is_lost_is_an_error_in_words(guide: Guide) -> None:
    guide.screen.storage.delete(str(guide.screen.name))
    with pytest.raises(FileNotFoundError):
        map_of(guide)
