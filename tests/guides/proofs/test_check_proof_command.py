"""``check_proof``: the contract of its JSON and its exit statuses."""

from __future__ import annotations

import dataclasses
import json
from io import StringIO
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from django.core.management import call_command

from bible.colour import press, pressfile
from tests.guides.imaging.proof.proof_conditions import conditions
from tests.guides.imaging.proof.proof_faults import Fault
from tests.guides.imaging.proof.proof_generator import Page, draw_page, paint_guide
from tests.guides.imaging.proof.proof_printer import print_proof


@pytest.fixture(scope="module")
def page() -> Page:
    return draw_page(41, 640, 960, 20)


@pytest.fixture(scope="module")
def files(page: Page, tmp_path_factory: pytest.TempPathFactory) -> Path:
    from bible.colour.tints import PAPER

    folder = tmp_path_factory.mktemp("proofs")
    victim = next(m for m in page.marks if not page.areas[m.label].fade and page.areas[m.label].tint.total_ink >= 100)
    luck = conditions(41, "press", dpi=150.0)
    good = print_proof(page, luck, {}, 41).image
    bad = print_proof(page, luck, {victim.id: Fault("colour_missing", PAPER)}, 41).image
    pictures = {"guide": paint_guide(page, 41), "good": good, "bad": bad, "blank": np.full_like(good, 240)}
    for name, picture in pictures.items():
        cv2.imwrite(str(folder / f"{name}.png"), picture[..., ::-1])
    (folder / "marks.json").write_text(json.dumps(page.to_json()))
    (folder / "victim").write_text(victim.id)
    return folder


def _run(files: Path, proof: str, marks: str = "marks.json", **options: Any) -> tuple[int, dict[str, Any]]:
    out = StringIO()
    status = 0
    try:
        call_command(
            "check_proof", files / "guide.png", files / proof, files / marks, json=True, stdout=out, **options
        )
    except SystemExit as leave:
        status = int(leave.code or 0)
    return status, json.loads(out.getvalue())


def test_a_sound_proof_exits_0(files: Path, page: Page) -> None:
    status, answer = _run(files, "good.png")
    assert status == 0
    assert answer["registered"] is True
    assert answer["error_px"] < 1
    assert set(answer["press_shift"]) == {"c", "m", "y"}
    assert [mark["id"] for mark in answer["marks"]] == [mark.id for mark in page.marks]
    for mark in answer["marks"]:
        assert {"id", "verdict", "ink", "nearest", "p", "delta_e", "why", "area", "confidence"} <= set(mark)
        assert 0 <= mark["p"] <= 1
        assert mark["confidence"] == (0 if mark["verdict"] == "cannot_tell" else mark["p"])
    assert all(mark["area"] > 0 for mark in answer["marks"]), "every mark stands on a drawn area"
    assert len({mark["area"] for mark in answer["marks"]}) > 0.8 * len(answer["marks"])


def test_a_kept_map_says_the_same(files: Path) -> None:
    call_command("page_map", files / "guide.png", keep=files / "map.npz", stdout=StringIO())
    assert _run(files, "bad.png", map=files / "map.npz") == _run(files, "bad.png")


@pytest.mark.parametrize(("name", "said"), [("marks.json", "no kept map"), ("gone.npz", "gone.npz")])
def test_what_is_no_map_is_refused_in_words(files: Path, name: str, said: str) -> None:
    status, answer = _run(files, "good.png", map=files / name)
    assert status == 2
    assert said in answer["reason"]


def test_a_fault_exits_1(files: Path) -> None:
    status, answer = _run(files, "bad.png")
    wrong = [mark["id"] for mark in answer["marks"] if mark["verdict"] not in ("as_called", "cannot_tell")]
    assert status == 1
    assert wrong == [(files / "victim").read_text()]


def test_a_run_of_the_house_is_what_a_proof_is_read_against(files: Path) -> None:
    """The file that scan_chart keeps, in place of a condition that ships."""
    house = dataclasses.replace(press.load("coated-fogra39"), name="house", notes=("from a scan",))
    (files / "house.press").write_text(pressfile.dumps(house), encoding="utf-8")
    named = ("newsprint", "coated-fogra39", str(files / "house.press"))
    shipped, coated, read = (_run(files, "good.png", press=name)[1] for name in named)
    assert read == coated | {"press": "house"}
    assert read["press_shift"] != shipped["press_shift"]


@pytest.mark.parametrize(
    ("proof", "marks", "options", "word"),
    [
        ("blank.png", "marks.json", {}, "blank"),
        ("none.png", "marks.json", {}, "no scan"),
        ("marks.json", "marks.json", {}, "not a picture"),
        ("good.png", "good.png", {}, "JSON"),
        ("good.png", "none.json", {}, "no file"),
        ("good.png", "marks.json", {"press": "moon"}, "moon"),
        ("good.png", "marks.json", {"press": "gone.press"}, "gone.press"),
    ],
)
def test_what_cannot_be_done_exits_2(files: Path, proof: str, marks: str, options: dict[str, Any], word: str) -> None:
    status, answer = _run(files, proof, marks, **options)
    assert status == 2
    assert answer["registered"] is False
    assert answer["marks"] == []
    assert word in answer["reason"]
