"""The audit of a house chart. The misprint it must find is common practice, no source; the charts are made here."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bible.colour.chart_audit import NEWSPRINT_INK_LIMIT, AuditFindingKind, audit
from bible.colour.chart_table import Swatch
from bible.colour.charts import CHART_64, CHART_125_70, CHART_125_75, Chart
from bible.colour.notation import LETTERS_64, LETTERS_125_70, LETTERS_125_75, PERCENT, Notation
from bible.colour.tints import Tint


def swatches(chart: Chart, notation: Notation = LETTERS_64) -> list[Swatch]:
    return [Swatch(line, notation.write(tint), tint) for line, tint in enumerate(chart.tints, start=1)]


@pytest.mark.parametrize(
    ("chart", "notation"),
    [
        (CHART_64, LETTERS_64),
        (CHART_64, PERCENT),
        (CHART_125_70, LETTERS_125_70),
        (CHART_125_75, LETTERS_125_75),
        (CHART_125_75, LETTERS_64),  # its 75 % is labelled in percentages
    ],
)
def test_a_sound_chart_has_no_findings(chart: Chart, notation: Notation) -> None:
    report = audit(swatches(chart, notation), notation)
    assert report.is_clean
    assert report.steps == {ink: chart.levels(ink) for ink in "cmy"}


def test_the_misprint_of_half_a_yellow_sold_as_solid() -> None:
    rows = swatches(CHART_64)
    place = CHART_64.index(Tint(m=50, y=100))
    rows[place] = replace(rows[place], tint=Tint(m=50, y=50))
    report = audit(rows, LETTERS_64)
    (differs,) = report.of_kind(AuditFindingKind.LABEL_DIFFERS)
    assert (differs.label, differs.line) == ("YR3", place + 1)
    assert (differs.says, differs.tint) == (Tint(m=50, y=100), Tint(m=50, y=50))
    assert "M50 Y100" in differs.message
    assert "Y3R3" in differs.message
    assert [finding.tint for finding in report.of_kind(AuditFindingKind.GAP)] == [Tint(m=50, y=100)]
    (double,) = report.of_kind(AuditFindingKind.DUPLICATE_TINT)
    assert {double.line, double.other_line} == {place + 1, CHART_64.index(Tint(m=50, y=50)) + 1}
    assert len(report.findings) == 3


def test_a_label_that_can_not_be_read_is_found_with_its_likely_meaning() -> None:
    rows = swatches(CHART_64)
    rows[CHART_64.index(Tint(m=100))] = Swatch(99, "R4", Tint(m=100))
    (finding,) = audit(rows, LETTERS_64).findings
    assert (finding.kind, finding.line) == (AuditFindingKind.LABEL_UNREADABLE, 99)
    assert "R" in finding.suggestions
    assert audit(rows, Notation(aliases=(("R4", 100),))).is_clean


def test_labels_are_the_same_however_they_are_spelt() -> None:
    rows = [Swatch(1, "YR3", Tint(m=50, y=100)), Swatch(2, "r3 y", Tint(m=50, y=100)), Swatch(3, "", Tint())]
    report = audit(rows, LETTERS_64)
    assert [(finding.kind, finding.line, finding.other_line) for finding in report.findings] == [
        (AuditFindingKind.DUPLICATE_TINT, 2, 1),
        (AuditFindingKind.DUPLICATE_LABEL, 2, 1),
        (AuditFindingKind.LABEL_UNREADABLE, 3, None),
    ]


@given(st.sets(st.sampled_from(CHART_64.tints), min_size=1, max_size=10))
@settings(deadline=None)
def test_every_tint_left_out_of_a_full_chart_is_a_gap(left_out: set[Tint]) -> None:
    rows = [swatch for swatch in swatches(CHART_64) if swatch.tint not in left_out]
    report = audit(rows, LETTERS_64)
    assert {finding.tint for finding in report.findings if finding.kind is AuditFindingKind.GAP} == left_out
    assert len(report.findings) == len(left_out)


def test_a_slip_beside_the_steps_is_no_new_step() -> None:
    rows = [*swatches(CHART_64), Swatch(65, "C37 M12", Tint(37, 12))]
    (finding,) = audit(rows, LETTERS_64).findings
    assert (finding.kind, finding.line) == (AuditFindingKind.OFF_GRID, 65)


def test_a_free_selection_has_no_gaps() -> None:
    picked = [Tint(37, 12), Tint(m=80, y=15), Tint(25, 50, 100), Tint(c=5), Tint(y=60)]
    rows = [Swatch(line, PERCENT.write(tint), tint) for line, tint in enumerate(picked, start=1)]
    report = audit(rows, LETTERS_64)
    assert report.is_clean
    assert report.steps == {}


def test_greys_of_key_beside_a_full_grid_leave_no_gaps() -> None:
    greys = [Swatch(64 + place, f"K{key}", Tint(k=key)) for place, key in enumerate((25, 50, 100), start=1)]
    assert audit([*swatches(CHART_64), *greys], LETTERS_64).is_clean


def test_a_grid_of_four_inks_is_looked_through_at_each_level_of_key() -> None:
    tints = [replace(tint, k=key) for key in (0, 50) for tint in CHART_64.tints if (tint.c, key) != (100, 50)]
    rows = [Swatch(line, PERCENT.write(tint), tint) for line, tint in enumerate(tints, start=1)]
    gone = rows.pop(70)
    report = audit(rows, PERCENT)
    assert [finding.tint for finding in report.of_kind(AuditFindingKind.GAP)] == [gone.tint]
    assert len(report.findings) == 1


@pytest.mark.parametrize("limit", [NEWSPRINT_INK_LIMIT, 300, 0])
def test_tints_over_the_ink_limit(limit: int) -> None:
    report = audit(swatches(CHART_64), LETTERS_64, limit)
    expected = [tint for tint in CHART_64.tints if tint.c + tint.m + tint.y > limit]
    assert [finding.tint for finding in report.findings] == expected
    assert all(
        finding.kind is AuditFindingKind.OVER_INK_LIMIT and f"{limit} %" in finding.message
        for finding in report.findings
    )


@pytest.mark.parametrize("limit", [-1, 401])
def test_an_ink_limit_out_of_range_is_refused(limit: int) -> None:
    with pytest.raises(ValueError, match="between 0 and 400 %"):
        audit(swatches(CHART_64), LETTERS_64, limit)


def test_nothing_has_no_findings() -> None:
    assert audit([], LETTERS_64).is_clean


def test_reports_travel_as_json() -> None:
    rows = [Swatch(1, "YR3", Tint(m=50, y=50)), Swatch(2, "R4", Tint(m=100))]
    report = json.loads(json.dumps(audit(rows, LETTERS_64).to_dict()))
    assert report["swatches"] == 2
    assert report["findings"][0]["kind"] == "label_differs"
    assert report["findings"][0]["says"] == [0, 50, 100, 0]
