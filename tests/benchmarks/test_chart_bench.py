"""How long the colour pages take on the server. Figures are reported, not judged; bar for a chart page: 60 ms."""

from __future__ import annotations

import random
from typing import Any

import pytest
from django.test import Client

from bible.models import Costume, Lock, Part, Series, Subject
from tests.factories import make_member, make_series


@pytest.fixture
def busy(db: None) -> Series:
    """A large bible: 300 subjects, 2,400 parts, 4,800 standing locks on the classic chart."""
    series = make_series(title="The Slow River", slug="slow-river")
    lead = make_member(series)
    rng = random.Random(1)
    subjects = Subject.objects.bulk_create(Subject(series=series, name=f"Subject {n}") for n in range(300))
    costumes = Costume.objects.bulk_create(Costume(subject=one, name=f"look {n}") for one in subjects for n in (1, 2))
    parts = Part.objects.bulk_create(Part(costume=one, name=f"part {n}") for one in costumes for n in range(4))
    Lock.objects.bulk_create(
        Lock(
            series=series,
            part=part,
            role=role,
            tint=(tint := rng.choice(series.chart.tints)),
            written=series.write(tint),
            from_position=0,
            decided_by=lead,
            decided_at=series.created_at,
        )
        for part in parts
        for role in ("base", "shade")
    )
    return series


@pytest.fixture
def client(busy: Series) -> Client:
    client = Client()
    client.force_login(make_member(busy))
    return client


PAGES = {
    "chart": "chart/",
    "chart on another press": "chart/?press=sheet-coated-tr006",
    "chart with other eyes": "chart/?vision=deuteranopia",
    "tint": "chart/25-50-100-0/",
    "dots": "chart/25-50-100-0/dots.png?zoom=2",
    "look-alikes of the chart": "chart/look-alikes",
    "gradient": "chart/gradient?start=YR3B2&end=Y",
    "press": "press/",
    "notation": "notation/",
}


@pytest.mark.parametrize("kind", ["64", "125-75"])
@pytest.mark.parametrize("page", PAGES)
def test_page(benchmark: Any, busy: Series, client: Client, page: str, kind: str) -> None:
    Series.objects.filter(pk=busy.pk).update(chart_kind=kind)
    answer = benchmark(client.get, f"/s/slow-river/{PAGES[page]}")
    assert answer.status_code == 200


def test_look_alikes_of_a_subject(benchmark: Any, busy: Series, client: Client) -> None:
    subject = busy.subjects.first()
    assert subject is not None
    answer = benchmark(client.get, f"/s/slow-river/chart/look-alikes?subject={subject.pk}")
    assert answer.status_code == 200


def test_a_chart_page_for_which_nothing_is_remembered(benchmark: Any, busy: Series, client: Client) -> None:
    from bible.colour import chart_neighbours

    def forget() -> None:
        chart_neighbours.nearest_on_chart.cache_clear()

    answer = benchmark.pedantic(client.get, ("/s/slow-river/chart/",), setup=forget, rounds=20)
    assert answer.status_code == 200
