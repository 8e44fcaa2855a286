"""``chart_sheet`` and ``scan_chart`` as a script uses them."""

from __future__ import annotations

import json
from io import StringIO
from pathlib import Path
from typing import Any

import cv2
import pytest
from django.core.management import CommandError, call_command

from bible.colour import pressfile
from tests.factories import make_series
from tests.guides.imaging.chart.printed_sheets import reference_text, target_reference
from tests.guides.imaging.chart.test_chart_reading import SHEET, scanned


def run(*words: Any) -> Any:
    out = StringIO()
    call_command(*map(str, words), "--json", stdout=out)
    return json.loads(out.getvalue())


@pytest.fixture(scope="module")
def scan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("scans") / "scan.png"
    cv2.imwrite(str(path), scanned()[1][..., ::-1])
    return path


@pytest.mark.django_db
def test_the_sheet_of_a_series_and_its_layout_lie_side_by_side(tmp_path: Path) -> None:
    series = make_series()
    said = run("chart_sheet", series.slug, tmp_path / "sheet.pdf", "--page", "letter")
    layout = json.loads((tmp_path / "sheet.json").read_text())
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF")
    assert layout["check"] == said["check"]
    assert len(layout["patches"]) == said["patches"] > 100


@pytest.mark.django_db
def test_a_series_that_is_not_there_is_said_so(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="no series"):
        call_command("chart_sheet", "nowhere", str(tmp_path / "sheet.pdf"))


def test_a_scan_says_patches_press_and_mean_doubt(scan: Path, tmp_path: Path) -> None:
    (tmp_path / "ref.txt").write_text(reference_text(target_reference()))
    (tmp_path / "sheet.json").write_text(json.dumps(SHEET.to_dict()))
    words = ["--layout", tmp_path / "sheet.json", "--target", tmp_path / "ref.txt", "--base", "coated-fogra39"]
    said = run("scan_chart", scan, *words)
    assert set(said) == {"patches", "press", "mean_doubt"}
    assert len(said["patches"]) == len(SHEET.patches)
    assert {tuple(one) for one in said["patches"]} == {("code", "lab", "doubt", "amiss")}
    assert any(one["amiss"] for one in said["patches"])
    assert pressfile.loads(said["press"]).doubt is not None


def test_the_sheet_of_a_standard_chart_needs_no_layout(scan: Path, tmp_path: Path) -> None:
    out = StringIO()
    call_command("scan_chart", str(scan), "--keep", str(tmp_path / "house.press"), stdout=out)
    assert "AMISS: yellow prints like 100 %, not 50 %" in out.getvalue()
    assert "No target was scanned along" in out.getvalue()
    assert pressfile.loads((tmp_path / "house.press").read_text()).name == "house-chart"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--layout", "nowhere.json"], "nowhere.json"),
        (["--base", "moon"], "no press condition 'moon'"),
        (["--target", "nowhere.txt"], "nowhere.txt"),
        (["--corners", "1,2", "3,4", "5,6", "seven"], "corners are four places"),
    ],
)
def test_what_cannot_be_used_is_said_in_words(scan: Path, words: list[str], says: str) -> None:
    with pytest.raises(CommandError, match=says):
        call_command("scan_chart", str(scan), *words)


def test_a_picture_without_a_chart_is_refused_in_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    cv2.imwrite(str(tmp_path / "page.png"), scanned()[1][:400, :500])
    out = StringIO()
    with pytest.raises(SystemExit) as ended:
        call_command("scan_chart", str(tmp_path / "page.png"), "--json", stdout=out)
    assert ended.value.code == 2
    assert json.loads(out.getvalue())["fault"] == "not_a_chart"
