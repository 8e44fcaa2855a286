"""Plates of a guide: drawn once, kept, drawn anew when a mark changes; the page that shows them and its refusals."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.test import Client
from django.urls import reverse

from guides.models import Mark
from guides.plates import PLATES, SINGLE, STACKED, plate_of
from guides.services import rewrite_mark
from tests.factories import make_guide, make_issue, make_mark
from tests.pages import methods_are_refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def guide(series: Any, lead: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    monkeypatch.setattr("guides.imaging.plates.LINE_PIXELS", 0.5)  # small pictures: how dots look is tested elsewhere
    return make_guide(make_issue(series), by=lead)


def test_yellow_comes_first_and_key_last() -> None:
    assert [plate.inks for plate in (*SINGLE, *STACKED)] == ["y", "m", "c", "k", "ym", "ymc", "ymck"]
    assert (PLATES["m"].title, PLATES["ym"].title) == ("magenta plate", "yellow + magenta")


def test_a_plate_is_kept_until_a_mark_changes(guide: Any, lead: Any) -> None:
    mark = make_mark(guide, "YR3")
    first = plate_of(guide, PLATES["m"])
    kept = default_storage.get_modified_time(first.name)
    other = plate_of(guide, PLATES["ymck"])
    assert other.key == first.key
    assert plate_of(guide, PLATES["m"]) == first
    assert default_storage.get_modified_time(first.name) == kept
    rewrite_mark(mark=Mark.objects.get(pk=mark.pk), written="B", part=None, role="base", by=lead)
    second = plate_of(guide, PLATES["m"])
    assert second.key != first.key
    assert not default_storage.exists(first.name)
    assert not default_storage.exists(other.name)


def test_the_page_and_its_pictures(series: Any, guide: Any, lead_client: Client) -> None:
    make_mark(guide, "YR3")
    page = lead_client.get(reverse("plates", args=[series.slug, guide.pk]), {"plate": "ym"}).content.decode()
    for said in ("yellow + magenta", "65 lines an inch at 75°", "A screen is not a proof", "TR 002"):
        assert said in page
    address = reverse("plate-picture", args=[series.slug, guide.pk, "ym"])
    assert address in page
    answer = lead_client.get(address)
    assert answer["Content-Type"] == "image/jpeg"
    assert lead_client.get(address, headers={"If-None-Match": answer["ETag"]}).status_code == 304
    make_mark(guide, "R", x=0.2)
    assert lead_client.get(address, headers={"If-None-Match": answer["ETag"]}).status_code == 200


def test_plates_that_do_not_exist_and_wrong_methods(series: Any, guide: Any, lead_client: Client) -> None:
    page = reverse("plates", args=[series.slug, guide.pk])
    assert lead_client.get(page, {"plate": "my"}).status_code == 404
    picture = reverse("plate-picture", args=[series.slug, guide.pk, "my"])
    assert lead_client.get(picture).status_code == 404
    for address in (page, picture):
        methods_are_refused(lead_client, address, "post", "put", "delete")
