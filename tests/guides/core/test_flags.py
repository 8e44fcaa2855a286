"""How far off a flag is, and how bad that is called."""

from __future__ import annotations

import itertools

import pytest

from bible.colour import press
from bible.colour.charts import STANDARD_CHARTS
from bible.colour.difference import SEVERITY_BANDS, delta_e_2000, severity
from bible.colour.tints import as_array
from bible.models import Series
from bible.series.presses import condition
from guides.core.flags import differences_of, flags_of, of_severity, reading_trouble
from guides.core.services import place_marks
from guides.models import FlagKind, Mark
from tests.factories import make_guide, make_issue, make_lock, make_part


def test_bare_paper_for_a_quarter_cyan_is_harsh_and_yellows_are_not() -> None:
    """14.6 and 5.3 on newsprint, measured from the patches of CGATS/SNAP TR 002-2007; a model may be off by 2."""
    newsprint = press.load("newsprint")
    tints = {tint.percentages: tint for tint in STANDARD_CHARTS["64"].tints}
    paper, cyan = tints[0, 0, 0, 0], tints[25, 0, 0, 0]
    yellow, half = tints[0, 0, 100, 0], tints[0, 0, 50, 0]
    jump, hint = differences_of([(paper, cyan), (yellow, half)], newsprint)
    assert jump == pytest.approx(14.6, abs=2)
    assert hint == pytest.approx(5.3, abs=2)
    assert severity(jump).word == "severe"
    assert severity(hint).word == "moderate"


def test_differences_are_taken_pair_by_pair_and_in_order() -> None:
    newsprint = press.load("newsprint")
    pairs = list(itertools.combinations(STANDARD_CHARTS["64"].tints[:12], 2))
    alone = [float(delta_e_2000(newsprint.lab(as_array([a])), newsprint.lab(as_array([b])))[0]) for a, b in pairs]
    assert differences_of(pairs, newsprint) == pytest.approx(alone)
    assert differences_of([], newsprint) == []


@pytest.mark.django_db
class TestFlagsOfMarks:
    @pytest.fixture
    def filled(self, series: Series) -> Series:
        """Every chart tint on a part locked to another one, an unreadable code and a part without a lock."""
        part, loose = make_part(series), make_part(series)
        make_lock(part, "YR3B2")
        guide = make_guide(make_issue(series))
        codes = [series.write(tint) for tint in series.chart.tints] + ["scrawl"]
        rows = [(0.5, 0.5, code, part, "base") for code in codes] + [(0.5, 0.5, "Y", loose, "base")]
        place_marks(guide=guide, by=guide.uploaded_by, rows=rows)
        return series

    def test_each_mark_gets_its_own_difference(self, filled: Series) -> None:
        flags = flags_of(Mark.objects.filter(series=filled).in_order(), condition(filled))
        assert len(flags) == 63 + 2, "the agreeing mark is none"
        for flag in flags:
            if flag.kind is FlagKind.DIFFERS:
                [alone] = differences_of([(flag.mark.tint, flag.mark.expected)], condition(filled))
                assert flag.delta_e == pytest.approx(alone)
                assert flag.severity == severity(alone)
            else:
                assert (flag.delta_e, flag.severity) == (None, None)

    @pytest.mark.parametrize("band", SEVERITY_BANDS, ids=lambda band: band.word)
    def test_a_band_in_sql_is_what_looking_at_each_gives(self, filled: Series, band: object) -> None:
        marks = Mark.objects.filter(series=filled).flagged()
        wanted = {flag.mark.pk for flag in flags_of(marks, condition(filled)) if flag.severity == band}
        found = of_severity(marks, band, condition(filled))  # type: ignore[arg-type]
        assert set(found.values_list("pk", flat=True)) == wanted

    def test_the_bands_share_out_what_differs(self, filled: Series) -> None:
        marks = Mark.objects.filter(series=filled).flagged()
        shares = [
            set(of_severity(marks, band, condition(filled)).values_list("pk", flat=True)) for band in SEVERITY_BANDS
        ]
        assert sum(map(len, shares)) == len(set.union(*shares)) == marks.of_kind(FlagKind.DIFFERS).count() == 63


@pytest.mark.django_db
@pytest.mark.parametrize(("written", "said"), [("YR3B2", ""), ("YR4", "4"), ("", "no code"), ("QX", "Q")])
def test_trouble_with_a_code_is_told_or_empty(series: Series, written: str, said: str) -> None:
    told = reading_trouble(series, written)
    assert (told == "") == (said == "")
    assert said.lower() in told.lower()
