"""The print of a guide: made once, kept, made anew when a mark changes."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pytest
from django.core.files.storage import default_storage
from django.test import Client
from PIL import Image

from guides.core.services import rewrite_mark
from guides.models import Mark
from guides.preview.prints import print_of
from tests.factories import make_guide, make_issue, make_mark

pytestmark = pytest.mark.django_db


@pytest.fixture
def guide(series: Any, lead: Any) -> Any:
    return make_guide(make_issue(series), by=lead)  # one flat ochre picture


def test_a_print_is_kept_until_a_mark_changes(series: Any, guide: Any, lead: Any) -> None:
    mark = make_mark(guide, "YR3")
    first = print_of(guide)
    kept = default_storage.get_modified_time(first.name)
    assert print_of(guide) == first
    assert default_storage.get_modified_time(first.name) == kept
    rewrite_mark(mark=Mark.objects.get(pk=mark.pk), written="B", part=None, role="base", by=lead)
    second = print_of(guide)
    assert second.key != first.key
    assert not default_storage.exists(first.name)
    assert second.coverage[:3] == pytest.approx((100, 0, 0), abs=1)
    assert first.coverage[:3] == pytest.approx((0, 50, 100), abs=1)
    assert first.total == pytest.approx(sum(first.coverage))


def test_a_code_that_cannot_be_read_prints_nothing(guide: Any) -> None:
    make_mark(guide, "Y9?")
    assert print_of(guide).coverage[:3] == (0, 0, 0)


def test_the_picture_is_asked_for_again_and_mostly_unchanged(series: Any, guide: Any, lead_client: Client) -> None:
    make_mark(guide, "B")
    address = f"/s/{series.slug}/guides/{guide.pk}/printed.jpg"
    answer = lead_client.get(address)
    data = b"".join(answer.streaming_content)  # type: ignore[attr-defined]
    picture = np.asarray(Image.open(io.BytesIO(data)))
    red, _, blue = picture[30, 20].tolist()
    assert blue > red
    assert lead_client.get(address, headers={"If-None-Match": answer["ETag"]}).status_code == 304
    make_mark(guide, "R", x=0.2)
    assert lead_client.get(address, headers={"If-None-Match": answer["ETag"]}).status_code == 200


def test_the_page_names_inks_and_press(series: Any, guide: Any, lead_client: Client) -> None:
    make_mark(guide, "YB3")
    page = lead_client.get(f"/s/{series.slug}/guides/{guide.pk}/as-printed").content.decode()
    for said in ("cyan", "magenta", "yellow", "key", "TR 002", "A screen is not a proof"):
        assert said in page
    part = lead_client.get(
        f"/s/{series.slug}/guides/{guide.pk}/as-printed", headers={"HX-Request": "true"}
    ).content.decode()
    assert "<html" not in part
    assert "Ink on this page" in part
