"""The bible and earlier marks as files: what is read, what is refused and in which words."""

import json
from pathlib import Path
from typing import Any

import pytest

from bible.colour.notation import LETTERS_64
from guides.imaging.writing.bible_file import (
    BibleFileError,
    bible_from_json,
    earlier_from_json,
    load_document,
    notation_from,
)


def make_document(**overrides: object) -> dict[str, Any]:
    """A series of one person: skin and hair under two coats."""
    under = {
        "id": 10,
        "name": "always",
        "parts": [{"id": 100, "name": "skin", "roles": {"base": "Y2R2", "shade": "Y3R3"}}],
    }
    work = {"id": 11, "name": "work coat", "parts": [{"id": 101, "name": "coat", "roles": {"base": "YR2"}}]}
    rain = {"id": 12, "name": "oilskins", "parts": [{"id": 102, "name": "coat", "roles": {"base": "Y"}}]}
    person = {"id": 1, "name": "Somebody", "kind": "character", "costumes": [under, work, rain]}
    return {"notation": "letters", "subjects": [person]} | overrides


def test_parts_come_in_order_with_their_codes_read() -> None:
    bible = bible_from_json(make_document())
    assert [(p.part, p.role, p.code) for p in bible.parts] == [
        (100, "base", "Y2R2"),
        (100, "shade", "Y3R3"),
        (101, "base", "YR2"),
        (102, "base", "Y"),
    ]
    assert bible.parts[0].tint == LETTERS_64.read("Y2R2")


def test_what_goes_under_every_coat_is_known_by_its_names() -> None:
    bible = bible_from_json(make_document())
    assert bible.shared == {0}


def test_a_code_that_cannot_be_read_keeps_its_part_without_a_tint() -> None:
    document = make_document()
    document["subjects"][0]["costumes"][1]["parts"][0]["roles"] = {"base": "R4"}
    part = bible_from_json(document).parts[2]
    assert (part.code, part.tint) == ("R4", None)


def test_a_part_nobody_has_locked_can_still_be_meant() -> None:
    document = make_document()
    document["subjects"][0]["costumes"][1]["parts"][0]["roles"] = {}
    part = bible_from_json(document).parts[2]
    assert (part.part, part.role, part.tint) == (101, "base", None)


@pytest.mark.parametrize(
    ("document", "words"),
    [
        ([], "list of"),
        ({"subjects": {}}, "list of"),
        ({"subjects": [3]}, "subject 1 is no object"),
        ({"subjects": [{"name": "A"}]}, "subject A has no id"),
        ({"subjects": [{"id": True}]}, "has no id"),
        ({"subjects": [{"id": 1, "costumes": 4}]}, "costumes of subject 1"),
        ({"subjects": [{"id": 1, "costumes": [{"parts": [{"name": "coat"}]}]}]}, "a part has no id"),
        ({"subjects": [{"id": 1, "costumes": [{"parts": [{"id": 2, "roles": []}]}]}]}, "roles of part 2"),
        (make_document(notation="morse"), "the notation must be"),
        (make_document(notation={"letters": 3}), "the bible's notation"),
    ],
)
def test_what_is_no_bible_is_refused_in_words(document: object, words: str) -> None:
    with pytest.raises(BibleFileError, match=words):
        bible_from_json(document)


def test_a_bible_too_large_to_be_one_is_refused() -> None:
    parts = [{"id": n, "name": "coat", "roles": {"base": "Y"}} for n in range(20_001)]
    with pytest.raises(BibleFileError, match="more than"):
        bible_from_json({"subjects": [{"id": 1, "costumes": [{"id": 1, "parts": parts}]}]})


def test_earlier_marks_are_read_with_or_without_a_part() -> None:
    rows = [
        {"page": 3, "x": 10, "y": 20.5, "code": "YR2", "part": 101, "role": "base"},
        {"page": 3, "x": 1, "y": 2, "code": "??", "part": None, "role": None},
    ]
    first, second = earlier_from_json(rows, LETTERS_64)
    assert (first.page, first.x, first.y, first.part, first.role) == ("3", 10.0, 20.5, 101, "base")
    assert first.tint == LETTERS_64.read("YR2")
    assert (second.part, second.tint) == (None, None)
    assert earlier_from_json({"marks": rows}, LETTERS_64) == (first, second)


@pytest.mark.parametrize(
    ("document", "words"),
    [
        (3, "are a list"),
        ([5], "earlier mark 1 is no object"),
        ([{"x": "a", "y": 1}], "x of earlier mark 1"),
        ([{"x": float("nan"), "y": 1}], "x of earlier mark 1"),
        ([{"x": 1, "y": 1, "part": [1]}], "part of earlier mark 1"),
    ],
)
def test_what_is_no_list_of_marks_is_refused_in_words(document: object, words: str) -> None:
    with pytest.raises(BibleFileError, match=words):
        earlier_from_json(document, LETTERS_64)


def test_a_file_that_is_missing_or_no_json_says_so(tmp_path: Path) -> None:
    with pytest.raises(BibleFileError, match="none"):
        load_document(tmp_path / "none.json")
    broken = tmp_path / "broken.json"
    broken.write_text("{")
    with pytest.raises(BibleFileError, match="no JSON"):
        load_document(broken)
    broken.write_text(json.dumps(make_document()))
    assert load_document(broken) == make_document()


def test_a_series_own_notation_may_come_as_its_settings() -> None:
    assert notation_from(LETTERS_64.to_dict()) == LETTERS_64
    assert notation_from(None) is LETTERS_64
