"""Plates of a guide: drawn once, kept, drawn anew when a mark changes; the page that shows them and its refusals."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.test import Client
from django.urls import reverse
from PIL import Image

from bible.colour.shifts import Op, Shift, Step
from bible.models import Scene
from bible.scenes.services import set_scene
from guides.core.scene_areas import Region, apply_scene, remove_scene
from guides.core.services import rewrite_mark
from guides.models import Guide, Mark
from guides.preview.plates import PLATES, SINGLE, STACKED, plate_of
from tests.factories import make_guide, make_issue, make_lock, make_mark, make_part
from tests.pages import methods_are_refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def guide(series: Any, lead: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    monkeypatch.setattr(
        "guides.imaging.press.plates.LINE_PIXELS", 0.5
    )  # small pictures: how dots look is tested elsewhere
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


# --- scenes -------------------------------------------------------------------------------------------------

LEFT_PANEL = Region(0.0, 0.0, 0.5, 1.0)
PANELS = (np.s_[40:260, 40:160], np.s_[40:260, 240:360])
"""The middles of both panels of ``panels`` as shares of 300 and 400."""


@pytest.fixture
def panels(guide: Guide, monkeypatch: pytest.MonkeyPatch) -> Guide:
    """The guide with a panel of yellow paint on the left and one of green on the right, 30 % of the page's width each."""
    monkeypatch.setattr("guides.imaging.press.plates.LINE_PIXELS", 2.0)
    painted = np.full((300, 400, 3), 255, np.uint8)
    painted[20:280, 20:180], painted[20:280, 220:380] = (240, 215, 40), (60, 150, 70)
    out = io.BytesIO()
    Image.fromarray(painted).save(out, "PNG")
    for field in ("original", "screen"):
        getattr(guide, field).save(f"tests/{guide.pk}-panels-{field}.png", ContentFile(out.getvalue()), save=False)
    guide.width, guide.height = 400, 300
    guide.save()
    return guide


def night(guide: Guide, lead: Any, **region: Any) -> Any:
    rule = Shift((Step(Op.ADD, "c", 25),))
    scene = set_scene(scene=Scene(series=guide.series, name="Night"), rule=rule, by=lead)
    return apply_scene(guide=guide, scene=scene, by=lead, **region)


def light(guide: Guide, inks: str) -> np.ndarray:
    """Red of a plate (300, 400), 0-255, dots averaged: what cyan takes away and yellow leaves."""
    with default_storage.open(plate_of(guide, PLATES[inks]).name) as file:
        small = Image.open(io.BytesIO(file.read())).resize((400, 300), Image.Resampling.BOX)
    return np.asarray(small, float)


def test_a_scene_says_what_is_owed_and_the_plates_are_cut_from_what_is_written(panels: Guide, lead: Any) -> None:
    part = make_part(panels.series)
    make_lock(part, "Y", by=lead)
    make_mark(panels, "Y", x=0.25, part=part, by=lead)
    before = {inks: plate_of(panels, plate) for inks, plate in PLATES.items()}
    area = night(panels, lead)
    assert Mark.objects.flagged().filter(guide=panels).count() == 1
    assert {inks: plate_of(panels, plate) for inks, plate in PLATES.items()} == before
    remove_scene(area=area, by=lead)
    assert plate_of(panels, PLATES["c"]) == before["c"]


def test_the_plates_of_a_page_with_a_night_panel_hold_its_shade_once(panels: Guide, lead: Any) -> None:
    """Yellow with the night's 25 % cyan in the scene's panel, the same yellow without beside it."""
    part = make_part(panels.series)
    make_lock(part, "Y", by=lead)
    night(panels, lead, region=LEFT_PANEL)
    shaded = make_mark(panels, "YB2", x=0.25, part=part, by=lead)
    make_mark(panels, "Y", x=0.75, part=part, by=lead)
    assert not Mark.objects.flagged().filter(guide=panels).exists()
    cyan = light(panels, "c")[..., 0]
    paper = cyan[:10].mean()
    dark, bright = (cyan[panel].mean() for panel in PANELS)
    assert bright == pytest.approx(paper, abs=2)
    with default_storage.open(f"{plate_of(panels, PLATES['c']).name.rsplit('-', 1)[0]}.npz") as file:
        table = np.load(io.BytesIO(file.read()))["table"]
    assert sorted(table[:, 0]) == [0, 0, 25]
    assert sorted(table[:, 2]) == [0, 100, 100]
    blue = light(panels, "y")[..., 2]
    assert blue[PANELS[0]].mean() == pytest.approx(blue[PANELS[1]].mean(), abs=3)
    rewrite_mark(mark=Mark.objects.get(pk=shaded.pk), written="YB3", part=None, role="base", by=lead)
    twice = light(panels, "c")[..., 0][PANELS[0]].mean()  # what a night counted twice would look like
    assert paper - 15 > dark > twice + 10


def test_a_fade_in_a_night_panel_keeps_the_shade_from_end_to_end(panels: Guide, lead: Any) -> None:
    night(panels, lead, region=LEFT_PANEL)
    make_mark(panels, "YB2", x=0.25, y=0.1, to=(0.25, 0.9), to_written="B2", by=lead)
    cyan, yellow = light(panels, "c")[..., 0], light(panels, "y")[..., 2]
    top, low = np.s_[40:90, 40:160], np.s_[210:260, 40:160]
    assert cyan[top].mean() == pytest.approx(cyan[low].mean(), abs=4)
    assert cyan[top].mean() < cyan[:10].mean() - 15
    assert yellow[low].mean() > yellow[top].mean() + 40


def test_the_page_of_plates_with_a_scene_is_there_for_members_alone(
    series: Any, panels: Guide, lead: Any, lead_client: Client, client: Client
) -> None:
    night(panels, lead, region=LEFT_PANEL)
    make_mark(panels, "YB2", x=0.25, by=lead)
    for name, more in (("plates", ()), ("plate-picture", ("c",))):
        address = reverse(name, args=[series.slug, panels.pk, *more])
        assert lead_client.get(address).status_code == 200
        assert client.get(address).status_code == 302
