"""What a scene makes of the locked colours is seen: on its card, and while its rule is written."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from bible.colour.shifts import Op, Shift, Step
from bible.models import Scene, Series
from bible.scenes.services import set_scene
from tests.factories import make_lock, make_part
from tests.forms import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def coat(series: Series) -> None:
    make_lock(make_part(series, name="coat"), "YR3")
    make_lock(make_part(series, name="sea"), "B")


def looked(client: Client, series: Series, **rule: str) -> str:
    return text_of(client.get(reverse("scene-look", args=[series.slug]), rule))


def test_a_rule_being_written_shows_both_colours_with_their_percentages(
    lead_client: Client, series: Series, coat: None
) -> None:
    said = looked(lead_client, series, rule_c_0="add", rule_c_1="25")
    assert "YR3 M50 Y100 becomes YR3B2 C25 M50 Y100" in said
    assert "B C100" not in said, "what the rule does not move is not shown"


def test_it_falls_where_it_is_held_to(lead_client: Client, series: Series, coat: None) -> None:
    said = looked(lead_client, series, rule_c_0="add", rule_c_1="25", falls_on="sea")
    assert "It moves no colour that is locked" in said
    assert "Say what an ink does" in looked(lead_client, series)
    refused = looked(lead_client, series, rule_c_0="add", rule_c_1="many", falls_on="nobody at all")
    assert "Say what an ink does" in refused


def test_each_card_shows_what_its_scene_does(lead_client: Client, lead: User, series: Series, coat: None) -> None:
    def made(name: str) -> None:
        rule = Shift((Step(Op.ADD, "c", 25),))
        set_scene(scene=Scene(series=series, name=name), rule=rule, by=lead)

    made("Night")
    with CaptureQueriesContext(
        connection,
    ) as one:
        said = text_of(lead_client.get(reverse("scenes", args=[series.slug])))
    assert "YR3 M50 Y100 becomes YR3B2 C25 M50 Y100" in said
    made("Fog")
    with CaptureQueriesContext(connection) as two:
        lead_client.get(reverse("scenes", args=[series.slug]))
    assert len(two) <= len(one) + 2, "the rule in force of each, but the locked colours once"
