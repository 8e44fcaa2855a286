"""Charts and moving along their steps.

The sizes 64 and 125 and their levels are common practice, no source; grids and distances are held against plain
Python.
"""

from __future__ import annotations

import json
import math
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bible.colour.charts import CHART_64, CHART_125_70, CHART_125_75, MAX_TINTS, STANDARD_CHARTS, Chart
from bible.colour.tints import INKS, PAPER, Tint

percentages = st.integers(0, 100)
tints = st.builds(Tint, c=percentages, m=percentages, y=percentages, k=percentages)
house_charts = st.lists(tints, min_size=1, max_size=30).map(lambda some: Chart.of("house", "House", some))
charts = st.one_of(st.sampled_from(list(STANDARD_CHARTS.values())), house_charts)


@pytest.mark.parametrize(
    ("name", "levels"),
    [("64", (0, 25, 50, 100)), ("125-70", (0, 25, 50, 70, 100)), ("125-75", (0, 25, 50, 75, 100))],
)
def test_the_standard_charts(name: str, levels: tuple[int, ...]) -> None:
    chart = STANDARD_CHARTS[name]
    assert len(chart) == len(levels) ** 3
    assert set(chart.tints) == {Tint(c, m, y) for c, m, y in product(levels, repeat=3)}
    assert chart.tints[0] == PAPER
    assert [chart.levels(ink) for ink in INKS] == [levels, levels, levels, (0,)]


@given(charts, st.lists(st.integers(1, 100), max_size=3))
def test_key_stands_beside_every_tint(chart: Chart, levels: list[int]) -> None:
    keyed = chart.with_key(levels)
    assert set(keyed.tints) == {Tint(*tint.percentages[:3], k) for tint in chart.tints for k in levels} | {
        *chart.tints
    }
    assert keyed.tints[: len(chart)] == chart.tints
    assert (keyed is chart) == (not levels)
    assert keyed.name == chart.name


@given(charts, tints)
def test_a_chart_is_an_ordered_set(chart: Chart, tint: Tint) -> None:
    assert (tint in chart) == (tint in chart.tints)
    assert [chart.index(each) for each in chart.tints] == list(range(len(chart)))
    assert [tuple(row) for row in chart.array.tolist()] == [each.percentages for each in chart.tints]
    if tint not in chart:
        with pytest.raises(ValueError, match="not on the chart"):
            chart.index(tint)


def test_a_chart_knows_only_tints() -> None:
    assert "YR3" not in CHART_64
    assert None not in CHART_64


def test_the_array_can_not_be_changed() -> None:
    with pytest.raises(ValueError, match="read-only"):
        CHART_64.array[0, 0] = 1


@given(charts)
def test_charts_travel_as_json(chart: Chart) -> None:
    again = Chart.from_dict(json.loads(json.dumps(chart.to_dict())))
    assert again == chart
    assert hash(again) == hash(chart)


@pytest.mark.parametrize(
    "stored",
    [
        {},
        {"name": "x", "title": "X", "tints": []},
        {"name": "x", "title": "X", "tints": [[0, 0, 0, 101]]},
        {"name": "x", "title": "X", "tints": [[0, 0, 0, 0.5]]},
        {"name": "x", "title": "X", "tints": [[0, 0, 0, 0, 0]]},
        {"name": "x", "title": "X", "tints": [[5, 0, 0, 0], [5, 0, 0, 0]]},
        {"name": "x", "title": "X", "tints": 5},
    ],
)
def test_what_is_no_chart_is_refused(stored: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"chart|percentage|between"):
        Chart.from_dict(stored)


def test_a_chart_has_a_bound() -> None:
    many = [Tint(*levels) for levels in product(range(10), repeat=4)]
    with pytest.raises(ValueError, match=f"at most {MAX_TINTS:,} tints"):
        Chart.of("house", "House", many)


def test_a_house_chart_keeps_its_order_and_drops_doubles() -> None:
    chart = Chart.of("house", "House", [Tint(y=100), PAPER, Tint(y=100)])
    assert chart.tints == (Tint(y=100), PAPER)


@given(charts, tints, st.integers(1, 6))
def test_nearest_is_nearest(chart: Chart, tint: Tint, count: int) -> None:
    found = chart.nearest(tint, count)
    by_hand = sorted(chart.tints, key=lambda other: math.dist(tint.percentages, other.percentages))
    assert len(found) == min(count, len(chart))
    for one, other in zip(found, by_hand, strict=False):
        assert math.dist(tint.percentages, one.percentages) == math.dist(tint.percentages, other.percentages)
    assert chart.snap(tint) in chart
    assert chart.snap(tint) == (tint if tint in chart else found[0])


# Moving a tint: the rules of scenes and shades (common practice, no source)


def test_a_shade_is_often_25_per_cent_cyan_on_top() -> None:
    assert CHART_64.add(Tint(m=50, y=100), "c", 25) == Tint(25, 50, 100)
    assert CHART_64.add(Tint(c=50), "c", 25) == Tint(c=100)  # 75 % is not on the chart; no darker would be no shade
    assert CHART_125_75.add(Tint(c=50), "c", 25) == Tint(c=75)
    assert CHART_125_70.add(Tint(c=50), "c", 25) == Tint(c=70)
    assert CHART_64.add(Tint(c=100), "c", 25) == Tint(c=100)
    assert CHART_64.add(Tint(c=100), "c", -25) == Tint(c=50)
    assert CHART_64.add(Tint(c=37), "c", 0) == Tint(c=25)


def test_night_has_25_per_cent_cyan_everywhere_and_yellow_one_step_down() -> None:
    def night(tint: Tint) -> Tint:
        return CHART_64.step_down(CHART_64.at_least(tint, "c", 25), "y")

    assert night(Tint(m=50, y=100)) == Tint(25, 50, 50)
    assert night(Tint(c=50, y=25)) == Tint(c=50)
    assert night(PAPER) == Tint(c=25)


def test_steps_stop_at_both_ends() -> None:
    assert CHART_64.step_up(Tint(y=100), "y") == Tint(y=100)
    assert CHART_64.step_down(PAPER, "y") == PAPER
    assert CHART_64.step_up(PAPER, "y", 2) == Tint(y=50)
    assert CHART_64.step_up(PAPER, "y", 9) == Tint(y=100)
    assert CHART_64.step_down(Tint(y=100), "y", 2) == Tint(y=25)
    assert CHART_64.step_up(Tint(y=25), "y", 0) == Tint(y=25)
    assert CHART_64.step_up(Tint(y=30), "y") == Tint(y=50)
    assert CHART_64.at_most(Tint(m=100, y=100), "m", 60) == Tint(m=50, y=100)
    assert CHART_64.at_least(Tint(m=25), "m", 30) == Tint(m=50)


@given(charts, tints, st.sampled_from(INKS), percentages)
def test_every_move_lands_on_the_chart_and_keeps_its_promise(
    chart: Chart, tint: Tint, ink: str, percent: int
) -> None:
    low, high = min(chart.levels(ink)), max(chart.levels(ink))
    on_chart = chart.snap(tint)
    before = getattr(on_chart, ink)
    up, down = chart.step_up(on_chart, ink), chart.step_down(on_chart, ink)
    least, most = chart.at_least(on_chart, ink, percent), chart.at_most(on_chart, ink, percent)
    more, less = chart.add(on_chart, ink, percent), chart.add(on_chart, ink, -percent)
    for moved in (up, down, least, most, more, less, chart.step_up(tint, ink), chart.add(tint, ink, percent)):
        assert moved in chart
    assert getattr(up, ink) > before or before == high
    assert getattr(down, ink) < before or before == low
    assert getattr(least, ink) >= min(percent, high)
    assert getattr(most, ink) <= max(percent, low)
    assert getattr(more, ink) >= before >= getattr(less, ink)


@given(st.sampled_from(list(STANDARD_CHARTS.values())), st.data(), st.sampled_from("cmy"))
def test_on_a_full_grid_only_the_ink_that_is_moved_changes(chart: Chart, data: st.DataObject, ink: str) -> None:
    tint = data.draw(st.sampled_from(chart.tints))
    levels = chart.levels(ink)
    place = levels.index(getattr(tint, ink))
    moved = {
        chart.step_up(tint, ink): levels[min(place + 1, len(levels) - 1)],
        chart.step_down(tint, ink): levels[max(place - 1, 0)],
    }
    for other, level in moved.items():
        assert getattr(other, ink) == level
        assert [getattr(other, each) for each in INKS if each != ink] == [
            getattr(tint, each) for each in INKS if each != ink
        ]


@pytest.mark.parametrize("percent", [101, -101, 10**6])
def test_a_move_out_of_range_is_refused(percent: int) -> None:
    with pytest.raises(ValueError, match="between"):
        CHART_64.add(PAPER, "c", percent)
    with pytest.raises(ValueError, match="between"):
        CHART_64.at_least(PAPER, "c", percent)
    with pytest.raises(ValueError, match="between"):
        CHART_64.at_most(PAPER, "c", percent)


def test_an_unknown_ink_is_refused() -> None:
    with pytest.raises(ValueError, match="not an ink"):
        CHART_64.levels("x")
