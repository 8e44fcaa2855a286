"""``manage.py tint``: one code, or one a line, and what scripts rely on."""

from __future__ import annotations

import io
import json
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from bible.colour import press
from bible.colour.charts import STANDARD_CHARTS
from bible.colour.notation import LETTERS_64
from bible.colour.tints import as_array
from bible.models import Series


def tint(*words: str, stdin: str | None = None, monkeypatch: Any = None) -> tuple[int, str]:
    out = io.StringIO()
    if stdin is not None:
        monkeypatch.setattr("sys.stdin", io.StringIO(stdin))
    try:
        call_command("tint", *words, stdout=out)
    except SystemExit as leaving:
        return int(leaving.code or 0), out.getvalue()
    return 0, out.getvalue()


@pytest.mark.parametrize(
    ("words", "cmyk"),
    [
        (["YR3B2"], (25, 50, 100, 0)),
        (["b2", "y", "r3"], (25, 50, 100, 0)),
        (["C25 M50 Y100"], (25, 50, 100, 0)),
        (["W"], (0, 0, 0, 0)),
        (["RB3"], (50, 100, 0, 0)),
    ],
)
def test_codes_of_the_trade(words: list[str], cmyk: tuple[int, ...]) -> None:
    """Common practice, no source: letter alone solid, 3 = 50 %, 2 = 25 %; B is cyan, R magenta."""
    status, text = tint(*words, "--json")
    told = json.loads(text)
    assert status == 0
    assert tuple(told[ink] for ink in "cmyk") == cmyk
    assert told["total_ink"] == sum(cmyk)
    assert len(told["lab"]) == 3
    assert told["srgb"][0] == "#"
    assert len(told["srgb"]) == 7
    assert told["press"] == "newsprint"


def test_solids_print_as_the_report_measured_them() -> None:
    """CGATS/SNAP TR 002-2007 solids: cyan 56.6 -23.4 -26.5, magenta 52.7 44.1 -1.1, yellow 76.6 -4.1 54.7."""
    measured = {"B": (56.6, -23.4, -26.5), "R": (52.7, 44.1, -1.1), "Y": (76.6, -4.1, 54.7)}
    for code, lab in measured.items():
        assert json.loads(tint(code, "--json")[1])["lab"] == pytest.approx(lab, abs=1.0)


@pytest.mark.parametrize(
    ("code", "position", "suggested"), [("YR4", 1, True), ("Q", 0, False), ("YY", 1, False), ("WR", None, False)]
)
def test_what_cannot_be_read_is_status_two_and_says_where(code: str, position: int | None, suggested: bool) -> None:
    status, text = tint(code, "--json")
    told = json.loads(text)
    assert status == 2
    assert told["error"]
    assert told["written"] == code
    assert position is None or told["position"] == position
    assert isinstance(told["suggestions"], list)
    assert not suggested or told["suggestions"]
    with pytest.raises(CommandError) as refusal:
        tint(code)
    assert refusal.value.returncode == 2
    assert code in str(refusal.value)


def test_one_a_line_from_standard_input_errors_included(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = ["YR3B2", "", "??", "c25 m25", "ÿ\u2028", "W" * 500, "W"]
    status, text = tint("-", "--json", stdin="\n".join(lines) + "\n", monkeypatch=monkeypatch)
    told = [json.loads(line) for line in text.split("\n") if line]
    assert status == 0
    assert len(told) == len(lines)
    assert ["error" in one for one in told] == [False, True, True, False, True, True, False]
    for line, one in zip(lines, told, strict=True):
        assert one.get("written", line) == line


def test_nothing_on_standard_input_is_no_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    assert tint("-", "--json", stdin="", monkeypatch=monkeypatch) == (0, "")


def test_the_whole_chart_is_answered_as_the_press_says(monkeypatch: pytest.MonkeyPatch) -> None:
    tints = STANDARD_CHARTS["64"].tints
    codes = [LETTERS_64.write(one) for one in tints]
    _, text = tint("-", "--json", "--press", "newsprint", stdin="\n".join(codes), monkeypatch=monkeypatch)
    told = [json.loads(line) for line in text.splitlines()]
    assert [one["code"] for one in told] == codes
    labs = press.load("newsprint").lab(as_array(tints))
    assert [one["lab"] for one in told] == [pytest.approx(list(lab)) for lab in labs]


def test_for_people_one_line() -> None:
    status, text = tint("y", "r3", "b2")
    assert status == 0
    assert text.startswith("YR3B2  =  ")
    assert text.rstrip().endswith("on newsprint")


@pytest.mark.parametrize("words", [("Y", "--press", "no-such"), ("Y", "--series", "no-such")])
@pytest.mark.django_db
def test_an_unknown_press_or_series_is_refused(words: tuple[str, ...]) -> None:
    status, text = tint(*words, "--json")
    assert status == 2
    assert "no-such" in json.loads(text)["error"]


@pytest.mark.django_db
def test_a_series_reads_by_its_own_notation_and_chart(series: Series) -> None:
    Series.objects.filter(pk=series.pk).update(chart_kind="125-75")
    assert tint("C75", "--json", "--series", series.slug)[0] == 0
    assert tint("C70", "--json", "--series", series.slug)[0] == 2
