"""``manage.py read_page``: what it prints, in which words it refuses, and that it guesses nothing."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from guides.imaging.writing import models
from tests.guides.imaging.writing.coded_page import CodedPage, make_coded_page
from tests.guides.imaging.writing.test_pointing import BIBLE
from tests.guides.imaging.writing.written_pages import paper, plain_page

KEYS = {
    "box", "text", "code", "p", "alternatives", "unreadable", "point", "area", "part", "role", "p_part",
    "part_alternatives", "differs",
}  # fmt: skip
"""What every proposal has, whatever else is said of it."""

EARLIER = [{"page": "1", "x": 10, "y": 20, "code": "YR2", "part": 1, "role": "base"}]


@cache
def coded_page() -> CodedPage:
    return make_coded_page()


def kept(folder: Path, name: str, document: object) -> str:
    path = folder / name
    path.write_text(document if isinstance(document, str) else json.dumps(document))
    return str(path)


def picture(folder: Path, page: Any, name: str = "page.png") -> str:
    cv2.imwrite(str(folder / name), page[:, :, ::-1])
    return str(folder / name)


def answered(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[Any, str]:
    """What stands on standard output, and on standard error."""
    call_command("read_page", *words, "--json")
    told = capsys.readouterr()
    return json.loads(told.out), told.err


def refused(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    with pytest.raises(SystemExit) as stopped:
        call_command("read_page", *words, "--json")
    assert stopped.value.code == 2
    return str(json.loads(capsys.readouterr().out)["error"])


def test_every_code_comes_with_its_place_readings_area_and_part(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = coded_page()
    rows, _ = answered(
        capsys, picture(tmp_path, page.image), "--bible", kept(tmp_path, "bible.json", BIBLE),
        "--earlier", kept(tmp_path, "marks.json", EARLIER),
    )  # fmt: skip
    assert len(rows) == len(page.codes)
    for row in rows:
        assert set(row) >= KEYS
        assert row["alternatives"][0] == {"code": row["code"], "p": row["p"]}
        assert row["p_part"] == row["part_alternatives"][0]["p"]
    by_code = {row["code"]: row for row in rows}
    assert {code: by_code[code]["part"] for code in ("YR2", "B3", "Y2")} == {"YR2": 1, "B3": 2, "Y2": None}
    for code, meant in zip(page.codes, page.meant, strict=True):
        row = by_code[code.text]
        assert np.hypot(*(np.array(row["point"]) - meant)) < 400
        left, top, right, bottom = row["box"]
        assert (left, top) == pytest.approx(code.box[:2], abs=6)
        assert (right, bottom) == pytest.approx(code.box[2:], abs=6)


def test_places_are_those_of_the_picture_as_given(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    page = coded_page()
    small, _ = answered(capsys, picture(tmp_path, page.image))
    large_page = cv2.resize(page.image, None, fx=2.5, fy=2.5, interpolation=cv2.INTER_CUBIC)
    large, _ = answered(capsys, picture(tmp_path, large_page, "large.png"))
    places = {row["code"]: np.array([*row["box"], *row["point"]]) for row in small}
    assert {row["code"] for row in large} == set(places)
    for row in large:
        there = np.array([*row["box"], *row["point"]]) / 2.5
        assert np.abs(there[:4] - places[row["code"]][:4]).max() < 6


def test_percentages_are_read_where_the_words_or_the_bible_say_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page, words = plain_page("percent", 5)
    path = picture(tmp_path, page)
    said, _ = answered(capsys, path, "--notation", "percent")
    by_bible, _ = answered(capsys, path, "--bible", kept(tmp_path, "b.json", {"notation": "percent", "subjects": []}))
    assert [row["code"] for row in said] == [row["code"] for row in by_bible]
    assert sum(row["p"] > 0.8 for row in said) > len(words) / 2
    call_command("read_page", path, "--notation", "percent")
    assert "%" in capsys.readouterr().out


def test_lines_for_people_name_the_part(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    files = "--bible", kept(tmp_path, "bible.json", BIBLE), "--earlier", kept(tmp_path, "before.json", EARLIER)
    call_command("read_page", picture(tmp_path, coded_page().image), *files)
    told = capsys.readouterr().out
    assert "lid (1), base" in told
    assert len(told.splitlines()) == len(coded_page().codes)


@pytest.mark.parametrize(
    ("option", "document", "words"),
    [
        ("--bible", "{", "no JSON"),
        ("--bible", [], 'list of "subjects"'),
        ("--bible", {"notation": "runes", "subjects": []}, "the notation must be"),
        ("--bible", {"subjects": [{"name": "A"}]}, "has no id"),
        ("--bible", "[" * 100_000, "no JSON"),
        ("--earlier", "nothing", "no JSON"),
        ("--earlier", {"marks": 4}, "are a list"),
        ("--earlier", [{"page": 1, "x": "left", "y": 2}], "x of earlier mark 1 is no number"),
    ],
)
def test_a_file_that_is_none_is_refused_in_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], option: str, document: object, words: str
) -> None:
    page = picture(tmp_path, paper(80, 80))
    assert words in refused(capsys, page, option, kept(tmp_path, "file.json", document))


def test_files_that_are_not_there_are_refused_by_name(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    page = picture(tmp_path, paper(80, 80))
    assert "nothing.png" in refused(capsys, str(tmp_path / "nothing.png"))
    for option in ("--bible", "--earlier"):
        assert "lost.json" in refused(capsys, page, option, str(tmp_path / "lost.json"))
    (tmp_path / "broken.json").write_bytes(b"\xff\xfe\x00{")
    assert "broken.json is no JSON" in refused(capsys, page, "--bible", str(tmp_path / "broken.json"))


def test_a_page_without_codes_is_an_empty_list_and_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows, words = answered(capsys, picture(tmp_path, paper(400, 300)))
    assert rows == []
    assert "No writing was found on this page." in words


def test_a_page_on_its_head_is_said_to_be_turned_and_nothing_is_guessed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page, _ = plain_page("percent", 3)
    path = picture(tmp_path, page[::-1, ::-1])
    with pytest.raises(SystemExit) as stopped:
        call_command("read_page", path, "--notation", "percent", "--json")
    assert stopped.value.code == 2
    answer = json.loads(capsys.readouterr().out)
    assert answer["turned"] == 180
    assert "upside down" in answer["error"]
    with pytest.raises(CommandError, match="upside down"):
        call_command("read_page", path, "--notation", "percent")


def test_a_missing_network_is_said_in_words(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    page = picture(tmp_path, paper(80, 80))
    monkeypatch.setattr(models, "WEIGHTS", tmp_path)
    with pytest.raises(CommandError, match=r"weights\.json of the reader of codes is missing"):
        call_command("read_page", page)
