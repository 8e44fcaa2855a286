"""What a scene makes of the locked colours is seen: on its card, and while its rule is written."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from bible.colour.chart_neighbours import neighbours_of
from bible.colour.difference import delta_e_2000
from bible.colour.shifts import Op, Shift, Step
from bible.colour.tints import as_array
from bible.models import Scene, Series
from bible.scenes.looking import looks_of
from bible.scenes.services import set_scene
from bible.series.presses import condition
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


def test_what_a_colour_becomes_is_held_against_the_chart_in_print(
    lead_client: Client, series: Series, coat: None
) -> None:
    """The figures are the colour library's own, which ``tests/bible/colour`` holds against published data."""
    press = condition(series)
    before, after = (series.read(code) for code in ("YR3", "YR3B2"))
    [look, *others] = looks_of([(before, after)], press, series.chart.tints)
    assert others == []
    labs = [press.lab(as_array([tint])) for tint in (before, after)]
    assert look.difference == pytest.approx(float(delta_e_2000(*labs)[0]))
    assert look.near == neighbours_of(press, after, series.chart.tints, count=3)
    said = looked(lead_client, series, rule_c_0="add", rule_c_1="25")
    assert f"ΔE₀₀ {look.difference:.1f} in print, {look.band.word}" in said
    nearest = series.write(look.near[0].tint)
    assert (
        f"Prints like {nearest}: {look.near[0].word}" if look.like else "Nothing on the chart prints like it"
    ) in said
    assert said.rindex(nearest) > said.index("in print"), "the nearest codes stand under it"
    assert looks_of([], press, series.chart.tints) == []


def test_a_scene_that_moves_nothing_says_so_instead_of_the_whole_chart(
    lead_client: Client, lead: User, series: Series
) -> None:
    still = set_scene(scene=Scene(series=series, name="Evening"), rule=Shift(()), by=lead)
    night = set_scene(scene=Scene(series=series, name="Night"), rule=Shift((Step(Op.ADD, "c", 25),)), by=lead)
    said = text_of(lead_client.get(reverse("scene", args=[series.slug, still.pk])))
    assert "keeps its locked codes" in said
    assert "stays" not in said
    moved = text_of(lead_client.get(reverse("scene", args=[series.slug, night.pk])))
    assert "YR3 becomes YR3B2" in moved
    assert "stays" not in moved, "what does not move is not listed"


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
