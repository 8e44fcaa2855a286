"""The colour commands as scripts call them: JSON out, exit 2 and a reason where a question cannot be answered."""

from __future__ import annotations

import io
import json
import sys
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.core.management import CommandError, call_command

from bible.colour import press as presses
from bible.colour import pressfile
from bible.colour.charts import CHART_64
from tests.factories import make_costume, make_lock, make_part, make_subject

PRESS_DATA = Path(__file__).parents[2] / "data" / "press"


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> Any:
    call_command(*map(str, arguments), "--json")
    return json.loads(capsys.readouterr().out)


def refused(capsys: pytest.CaptureFixture[str], *arguments: object) -> dict[str, Any]:
    with pytest.raises(SystemExit) as stopped:
        call_command(*map(str, arguments), "--json")
    assert stopped.value.code == 2
    answer = json.loads(capsys.readouterr().out)
    assert answer["error"]
    return answer


@pytest.mark.parametrize(
    "command",
    [("tint", "Y"), ("chart",), ("nearest", "#ff0000"), ("lookalikes",), ("gradient", "YR", "W")],
)
def test_an_unknown_press_or_series_is_refused(
    db: None, capsys: pytest.CaptureFixture[str], command: tuple[str, ...]
) -> None:
    assert "newsprint" in refused(capsys, *command, "--press", "papyrus")["error"]
    assert "no series" in refused(capsys, *command, "--series", "nowhere")["error"]
    with pytest.raises(CommandError) as stopped:
        call_command(*command, "--press", "papyrus")
    assert stopped.value.returncode == 2


def test_the_presses_at_hand_are_listed_with_their_sources(capsys: pytest.CaptureFixture[str]) -> None:
    listed = run(capsys, "chart", "--presses")
    assert all(set(one) == {"name", "title", "source"} for one in listed)
    assert [one["name"] for one in listed] == [info.name for info in presses.available()]
    sources = " ".join(one["source"] for one in listed)
    for report in ("TR 002", "TR 003", "TR 005", "TR 006", "FOGRA29"):
        assert report in sources


def test_a_chart_is_told_tint_by_tint(capsys: pytest.CaptureFixture[str]) -> None:
    answer = run(capsys, "chart", "--press", "web-coated-tr003")
    assert [(row["c"], row["m"], row["y"], row["k"]) for row in answer["tints"]] == [
        tint.percentages for tint in CHART_64.tints
    ]
    assert answer["press"]["name"] == "web-coated-tr003"
    assert {row["total_ink"] for row in answer["tints"]} >= {0, 300}


def test_a_series_own_chart_and_press_are_used(series: Any, capsys: pytest.CaptureFixture[str]) -> None:
    series.chart_kind, series.chart_data, series.press = "house", [0, 100 << 8], "coated-fogra39"
    series.save()
    answer = run(capsys, "chart", "--series", "slow-river")
    assert [row["code"] for row in answer["tints"]] == ["W", "Y"]
    assert answer["press"]["name"] == "coated-fogra39"
    assert run(capsys, "nearest", "85", "-5", "80", "--series", "slow-river")["nearest"]["code"] == "Y"


@pytest.fixture(scope="module")
def colour() -> Any:
    """colour-science, a second opinion on every conversion."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns on import that plotting is not installed
        import colour
    return colour


def test_predictions_fit_measured_patches(capsys: pytest.CaptureFixture[str], monkeypatch: Any, colour: Any) -> None:
    """Every patch of TR 003 with whole percentages against its measured Lab, by colour-science's CIEDE2000."""
    lines = (PRESS_DATA / "TR003.ti3").read_text(encoding="latin-1").splitlines()
    lines = [line.strip() for line in lines]
    names = lines[lines.index("BEGIN_DATA_FORMAT") + 1].split()
    data = lines[lines.index("BEGIN_DATA") + 1 : lines.index("END_DATA")]
    rows = [dict(zip(names, line.split(), strict=True)) for line in data]
    inks = ("CMYK_C", "CMYK_M", "CMYK_Y", "CMYK_K")
    rows = [row for row in rows if all(float(row[ink]) == round(float(row[ink])) for ink in inks)]
    assert len(rows) > 500
    codes = ["".join(f"{ink[-1]}{float(row[ink]):.0f} " for ink in inks) for row in rows]
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n".join(codes)))
    call_command("tint", "-", "--press", "web-coated-tr003", "--json")
    told = [json.loads(line)["lab"] for line in capsys.readouterr().out.splitlines()]
    measured = [[float(row[f"XYZ_{axis}"]) / 100 for axis in "XYZ"] for row in rows]
    white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    lab = colour.XYZ_to_Lab(np.array(measured), white)
    difference = colour.delta_E(lab, np.array(told), method="CIE 2000")
    assert difference.mean() < 0.4
    assert np.percentile(difference, 95) < 0.9


def test_a_thousand_lines_keep_their_order_and_their_errors(
    capsys: pytest.CaptureFixture[str], monkeypatch: Any
) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("YR3B2\nQ9\nC37 M12 Y80 K5\n\nC101\n"))
    call_command("tint", "-", "--json")
    told = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [row.get("code") for row in told] == ["YR3B2", None, "C37 M12 Y80 K5", None, None]
    assert [row.get("reason") for row in told][1] == "unknown_letter"


def test_the_nearest_code_and_the_nearest_printable_colour(capsys: pytest.CaptureFixture[str]) -> None:
    [tint] = [row for row in run(capsys, "chart")["tints"] if row["code"] == "YR3B2"]
    answer = run(capsys, "nearest", *tint["lab"])
    assert answer["nearest"]["code"] == "YR3B2"
    assert answer["nearest"]["difference"] == pytest.approx(0, abs=1e-6)
    assert answer["printable"]["difference"] <= 0.05
    # A colour no newsprint can print: both distances say so, and the chart is never nearer than the press.
    answer = run(capsys, "nearest", "#00ff00")
    assert answer["nearest"]["difference"] >= answer["printable"]["difference"] > 10
    differences = [match["difference"] for match in answer["matches"]]
    assert differences == sorted(differences)


def test_an_srgb_colour_becomes_d50_lab(capsys: pytest.CaptureFixture[str], colour: Any) -> None:
    """#c8a050 by colour-science: sRGB to XYZ, Bradford from D65 to D50, CIELAB."""
    observer = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
    xyz = colour.sRGB_to_XYZ(np.array([0xC8, 0xA0, 0x50]) / 255)
    white = [colour.xy_to_XYZ(observer[name]) for name in ("D65", "D50")]
    lab = colour.XYZ_to_Lab(colour.chromatic_adaptation(xyz, *white, transform="Bradford"), observer["D50"])
    assert run(capsys, "nearest", "#c8a050")["lab"] == pytest.approx(lab.tolist(), abs=0.02)


@pytest.mark.parametrize(
    "wanted", ["nan 0 0", "1 2", "1 2 3 4", "#12345", "#gggggg", "inf 0 0", "101 0 0", "50 900 0", "red", ""]
)
def test_what_is_no_colour_is_refused(capsys: pytest.CaptureFixture[str], wanted: str) -> None:
    refused(capsys, "nearest", wanted)


@pytest.mark.parametrize("count", ["0", "-3", "many", "99999999999999"])
def test_a_count_that_is_none_is_refused(capsys: pytest.CaptureFixture[str], count: str) -> None:
    refused(capsys, "nearest", "#808080", f"--count={count}")


def test_look_alikes_are_ranked_with_words_and_a_caution(capsys: pytest.CaptureFixture[str]) -> None:
    """Solid and half yellow are mistaken on newsprint, not on coated stock (the craft's complaint)."""

    def words(press: str) -> dict[frozenset[str], str]:
        answer = run(capsys, "lookalikes", "--press", press)
        assert "not a forecast" in answer["caution"]
        risks = [pair["risk"] for pair in answer["pairs"]]
        assert risks == sorted(risks, reverse=True)
        return {frozenset((pair["first"]["code"], pair["second"]["code"])): pair["word"] for pair in answer["pairs"]}

    yellows = frozenset(("Y", "Y3"))
    assert words("newsprint")[yellows] == "easily mistaken"
    assert words("web-coated-tr003").get(yellows, "distinct") in ("distinct", "may be mistaken")
    assert frozenset(("W", "B2")) not in words("newsprint")


def test_look_alikes_of_a_subject_and_of_other_eyes(series: Any, capsys: pytest.CaptureFixture[str]) -> None:
    for name, code in (("Anna", "Y"), ("Wall", "Y3"), ("Boat", "B")):
        make_lock(make_part(costume=make_costume(make_subject(series, name=name))), code)
    asked = ("lookalikes", "--series", "slow-river", "--subject", "anna")
    [pair] = run(capsys, *asked)["pairs"]
    assert (pair["first"]["code"], pair["second"]["code"]) == ("Y", "Y3")
    assert run(capsys, *asked, "--cvd", "deuteranopia")["vision"] == "deuteranopia"
    assert "no subject" in refused(capsys, "lookalikes", "--series", "slow-river", "--subject", "Nobody")["error"]
    refused(capsys, "lookalikes", "--subject", "Anna")
    refused(capsys, "lookalikes", "--cvd", "x-ray")
    refused(capsys, "lookalikes", "--at-least", "a little")


def test_a_gradient_is_judged(capsys: pytest.CaptureFixture[str]) -> None:
    """Dropping one of two inks turns the hue (common practice, no source)."""
    answer = run(capsys, "gradient", "YR3", "Y")
    assert not answer["holds_hue"]
    assert answer["towards"] == "yellow"
    assert answer["turn"] > 4
    assert answer["path"][0]["m"] == 50
    assert answer["path"][-1]["m"] == 0
    assert answer["path"][0]["lab"] == pytest.approx(answer["from"]["lab"])
    same = run(capsys, "gradient", "B", "B3", "--press", "coated-fogra39")
    assert same["holds_hue"]
    assert same["suggestions"] == []


@pytest.mark.parametrize(("start", "end"), [("Q", "W"), ("W", "R4"), ("", "W"), ("YR", "C101 M0")])
def test_a_gradient_of_codes_that_cannot_be_read_is_refused(
    capsys: pytest.CaptureFixture[str], start: str, end: str
) -> None:
    assert "reason" in refused(capsys, "gradient", start, end)


def test_a_condition_is_fitted_and_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "own.press"
    arguments = (
        "press_fit",
        PRESS_DATA / "TR003.ti3",
        "--name",
        "own",
        "--source",
        "TR 003-2007",
        "--output",
        target,
    )
    answer = run(capsys, *arguments, "--title", "Ours", "--ruling", "120", "--angles", "15 75 0 45")
    assert (answer["name"], answer["title"], answer["file"]) == ("own", "Ours", str(target))
    fitted = pressfile.loads(target.read_text(encoding="utf-8"))
    assert fitted.source == "TR 003-2007"
    assert fitted.angles == {"c": 15, "m": 75, "y": 0, "k": 45}
    assert "already" in refused(capsys, *arguments)["error"]
    assert run(capsys, *arguments, "--force")["title"] == "own"


def test_without_an_output_the_condition_joins_the_others(
    tmp_path: Path, monkeypatch: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("bible.management.commands.press_fit.PRESS_DATA", tmp_path)
    run(capsys, "press_fit", PRESS_DATA / "TR003.ti3", "--name", "own", "--source", "TR 003-2007")
    assert [path.name for path in tmp_path.glob("*.*")] == ["own.press"]


@pytest.mark.parametrize(
    "more",
    [
        {"--name": "Not A Name"},
        {"--name": "../own"},
        {"--ruling": "fine"},
        {"--ruling": "nan"},
        {"--angles": "1 2 3"},
        {"--source": "two\nlines"},
    ],
)
def test_settings_that_make_no_condition_are_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], more: dict[str, str]
) -> None:
    target = tmp_path / "own.press"
    asked = {"--name": "own", "--source": "TR 003-2007", "--output": str(target)} | more
    flat = [word for pair in asked.items() for word in pair]
    refused(capsys, "press_fit", PRESS_DATA / "TR003.ti3", *flat)
    assert not target.exists()


def test_data_with_a_fault_are_refused_with_the_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = (PRESS_DATA / "TR003.ti3").read_text(encoding="latin-1").splitlines()
    line = lines.index("BEGIN_DATA") + 4
    lines[line - 1] = lines[line - 1].rsplit(None, 1)[0] + " abc"
    data = tmp_path / "data.ti3"
    data.write_text("\n".join(lines), encoding="latin-1")
    asked = ("--name", "own", "--source", "s", "--output", tmp_path / "own.press")
    answer = refused(capsys, "press_fit", data, *asked)
    assert answer["line"] == line
    assert f"line {line}:" in answer["error"]
    refused(capsys, "press_fit", tmp_path / "missing.ti3", *asked)
    refused(capsys, "press_fit", tmp_path, *asked)
    assert not (tmp_path / "own.press").exists()
