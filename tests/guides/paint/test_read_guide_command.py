"""``read_guide`` as a script calls it: files in, JSON out, every failure in words."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.core.management import call_command
from PIL import Image

from tests.guides.imaging.paint.guide_generator import GuidePage, PageStyle, make_page

STYLE = PageStyle(width=900, marks=40, gradients=0.0)


@pytest.fixture(scope="module")
def page() -> GuidePage:
    return make_page("additive", 11, STYLE)


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> Any:
    call_command("read_guide", *map(str, arguments), "--json")
    return json.loads(capsys.readouterr().out)


def fail(capsys: pytest.CaptureFixture[str], *arguments: object) -> str:
    with pytest.raises(SystemExit) as stopped:
        call_command("read_guide", *map(str, arguments), "--json")
    assert stopped.value.code == 2
    return str(json.loads(capsys.readouterr().out)["error"])


def put(folder: Path, page: GuidePage, marks: object, name: str = "page.png") -> tuple[Path, Path]:
    listing = folder / "marks.json"
    listing.write_text(json.dumps(marks), encoding="utf-8")
    return page.save(folder / name), listing


def test_marks_without_codes_get_them(page: GuidePage, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    marks = [mark | {"code": mark["code"] if number < 20 else None} for number, mark in enumerate(page.marks)]
    answer = run(capsys, *put(tmp_path, page, marks))
    assert [entry["id"] for entry in answer] == [mark["id"] for mark in marks]
    right = [e["suggestions"][0]["code"] == m["code"] for e, m in zip(answer[20:], page.marks[20:], strict=True)]
    assert np.mean(right) >= 0.85
    for entry in answer:
        chances = [s["p"] for s in entry["suggestions"]]
        assert chances == sorted(chances, reverse=True)
        assert sum(chances) <= 1.001
        assert isinstance(entry["odd"], bool)
        assert 0.0 <= entry["score"] <= 1.0


def test_a_miswritten_code_is_odd_and_the_painted_one_suggested(
    page: GuidePage, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    marks = [dict(mark) for mark in page.marks]
    victim = next(i for i, mark in enumerate(marks) if mark["code"] not in ("W", "C100"))
    marks[victim]["code"] = "C100" if page.tints[victim] % 4 < 2 else "W"
    answer = run(capsys, *put(tmp_path, page, marks))
    assert answer[victim]["odd"]
    assert answer[victim]["suggestions"][0]["code"] == page.marks[victim]["code"]


def test_letters_are_answered_in_letters(page: GuidePage, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from bible.colour.notation import LETTERS_64, PERCENT

    marks = [mark | {"code": LETTERS_64.write(PERCENT.read(mark["code"]))} for mark in page.marks]
    marks[0]["code"] = None
    answer = run(capsys, *put(tmp_path, page, marks))
    written = {s["code"] for entry in answer for s in entry["suggestions"]}
    assert all(LETTERS_64.write(LETTERS_64.read(code)) == code for code in written)


def test_every_bad_mark_keeps_its_place_and_says_why(
    page: GuidePage, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bad: list[dict[str, Any]] = [
        {"id": "far", "x": 99999, "y": 3, "code": "M25"},
        {"id": "nowhere", "code": "M25"},
        {"id": "nan", "x": "a", "y": None, "code": None},
        {"id": "scrawl", "x": 300, "y": 300, "code": "R4?!"},
        {"id": "number", "x": 300, "y": 300, "code": 25},
    ]
    answer = {entry["id"]: entry for entry in run(capsys, *put(tmp_path, page, page.marks + bad))}
    for mark in bad:
        assert answer[mark["id"]]["problem"]
        assert not answer[mark["id"]]["odd"]
    assert answer["far"]["suggestions"] == []
    assert answer["scrawl"]["suggestions"]


def test_no_codes_at_all_is_said_and_claims_little(
    page: GuidePage, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    answer = run(capsys, *put(tmp_path, page, [mark | {"code": None} for mark in page.marks]))
    assert all("no confirmed marks" in entry["problem"] for entry in answer)
    assert not any(entry["odd"] for entry in answer)


@pytest.mark.parametrize("kind", ["blank", "grey", "upside down", "another page"])
def test_pages_that_can_not_be_read_make_nobody_certain(
    kind: str, page: GuidePage, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pixels = {
        "blank": np.full_like(page.image, 236),
        "grey": np.repeat(page.image.mean(axis=2, keepdims=True).astype(np.uint8), 3, axis=2),
        "upside down": page.image[::-1, ::-1],
        "another page": make_page("additive", 12, STYLE).image,
    }[kind]
    _, listing = put(tmp_path, page, page.marks)
    scan = tmp_path / "scan.png"
    Image.fromarray(np.ascontiguousarray(pixels)).save(scan)
    answer = run(capsys, scan, listing)
    word = {"another page": "right page"}.get(kind, kind)
    assert all(word in entry["problem"] for entry in answer)
    assert not any(entry["odd"] for entry in answer)
    assert max(s["p"] for entry in answer for s in entry["suggestions"]) < 0.05


def test_files_that_can_not_be_read_end_with_two(
    page: GuidePage, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    scan, listing = put(tmp_path, page, page.marks)
    broken = tmp_path / "broken.json"
    broken.write_bytes(b"\xff\xfe[{")
    text = tmp_path / "page.txt"
    text.write_text("no picture")
    cut = tmp_path / "cut.png"
    cut.write_bytes(scan.read_bytes()[:2000])
    assert "missing.json" in fail(capsys, scan, tmp_path / "missing.json")
    assert "missing.png" in fail(capsys, tmp_path / "missing.png", listing)
    assert "JSON" in fail(capsys, scan, broken)
    assert fail(capsys, text, listing)
    assert fail(capsys, cut, listing)
    assert fail(capsys, tmp_path, listing)
    broken.write_text('{"marks": 3}')
    assert "list" in fail(capsys, scan, broken)
    broken.write_text("[3]")
    assert "mark 1" in fail(capsys, scan, broken)
    broken.write_text("[" * 100_000)
    assert fail(capsys, scan, broken)


def test_a_sideways_jpeg_is_read_upright(page: GuidePage, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The EXIF orientation (Exif 2.3, tag 0x0112): value 6 is shown after a turn of 90° clockwise."""
    _, listing = put(tmp_path, page, page.marks)
    lying = Image.fromarray(page.image).transpose(Image.Transpose.ROTATE_90)
    exif = Image.Exif()
    exif[0x0112] = 6
    lying.save(tmp_path / "lying.jpg", exif=exif, quality=95)
    answer = run(capsys, tmp_path / "lying.jpg", listing)
    assert not any("problem" in entry for entry in answer)
    assert sum(entry["odd"] for entry in answer) <= 2


def test_a_kept_map_says_the_same_and_one_of_another_picture_is_refused(
    page: GuidePage, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files, kept = put(tmp_path, page, page.marks), tmp_path / "map.npz"
    call_command("page_map", str(files[0]), "--keep", str(kept))
    capsys.readouterr()
    answer = run(capsys, *files)
    assert run(capsys, *files, "--map", kept) == answer
    assert all(entry["area"] > 0 for entry in answer)
    assert all(entry["confidence"] == entry["suggestions"][0]["p"] for entry in answer)
    small = tmp_path / "small.png"
    Image.fromarray(page.image[:300, :300]).save(small)
    said = fail(capsys, small, files[1], "--map", kept)
    assert "not of 300 x 300" in said
    assert "no kept map" in fail(capsys, *files, "--map", files[1])
