"""What is seen while a code is typed: what holds now beside it, how far apart they print, what stands near."""

from __future__ import annotations

import re

import pytest
from django.test import Client
from django.urls import reverse

from bible.models import Part, Series
from tests.factories import make_issue, make_lock, make_part, make_series
from tests.pages import methods_are_refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def coat(series: Series) -> Part:
    make_issue(series)
    part = make_part(series)
    make_lock(part, "Y")
    return part


def seen(client: Client, series: Series, **asked: str) -> str:
    answer = client.get(reverse("code-look", args=[series.slug]), asked)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def test_old_and_new_stand_side_by_side_with_their_difference(fill_in_client: Client, coat: Part) -> None:
    """Solid and 50 % yellow lie 5.3 apart on newsprint (the patches of TR 002)."""
    told = seen(fill_in_client, coat.costume.subject.series, part=str(coat.pk), role="base", code="y3")
    assert told.count("edge-swatch") == 2
    difference = re.search(r"ΔE₀₀ ([\d.]+) in print, <strong>moderate</strong>", told)
    assert difference is not None
    assert float(difference[1]) == pytest.approx(5.3, abs=0.5), "the fitted condition is near the measured patches"
    assert 'Prints like <span class="code">Y</span>: easily mistaken.' in told
    assert 'data-takes-code="Y"' in told


def test_a_role_without_a_lock_shows_the_typed_code_alone(fill_in_client: Client, coat: Part) -> None:
    told = seen(fill_in_client, coat.costume.subject.series, part=str(coat.pk), role="shade", code="B2")
    assert told.count("edge-swatch") == 1
    assert "ΔE₀₀" not in told


def test_a_code_that_cannot_be_read_says_why_and_keeps_what_holds(fill_in_client: Client, coat: Part) -> None:
    told = seen(fill_in_client, coat.costume.subject.series, part=str(coat.pk), code="YR4")
    assert told.count("edge-swatch") == 1
    assert "Nearest on the chart" in told
    assert "data-takes-code" in told


def test_a_gradient_is_seen_without_a_figure(fill_in_client: Client, coat: Part) -> None:
    told = seen(fill_in_client, coat.costume.subject.series, part=str(coat.pk), code="B to W downwards")
    assert told.count("edge-swatch") == 2
    assert "ΔE₀₀" not in told


def test_nothing_typed_shows_what_holds(fill_in_client: Client, coat: Part) -> None:
    assert seen(fill_in_client, coat.costume.subject.series, part=str(coat.pk)).count("edge-swatch") == 1
    assert "edge-swatch" not in seen(fill_in_client, coat.costume.subject.series, part="no number")


def test_a_lock_of_another_series_is_not_there(fill_in_client: Client, series: Series) -> None:
    other = make_lock(make_part(make_series(title="Another")), "Y")
    address = reverse("code-look", args=[series.slug])
    assert fill_in_client.get(address, {"lock": str(other.pk)}).status_code == 404
    assert "edge-swatch" not in seen(fill_in_client, series, part=str(other.part_id))


def test_only_asking_is_answered(fill_in_client: Client, series: Series) -> None:
    methods_are_refused(fill_in_client, reverse("code-look", args=[series.slug]), "post")
