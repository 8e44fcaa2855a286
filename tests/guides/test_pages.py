"""Page labels: how people write them, and in which order pages stand. Common practice, no source."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from guides.pages import clean_label, label_from_filename, page_order

READING_ORDER = [
    "cover",
    "inside front",
    "1",
    "2",
    "2a",
    "2b",
    "3",
    "10",
    "100",
    "99999",
    "pin-up",
    "inside back",
    "back",
]


def test_pages_stand_as_they_are_read() -> None:
    shuffled = random.Random(7).sample(READING_ORDER, len(READING_ORDER))
    assert sorted(shuffled, key=page_order) == READING_ORDER


@pytest.mark.parametrize(
    ("written", "kept"),
    [
        ("7", "7"),
        (" page  7 ", "7"),
        ("Page 007", "7"),
        ("p. 7", "7"),
        ("P7A", "7a"),
        ("7 a", "7a"),
        ("0", "0"),
        ("000", "0"),
        ("Cover", "cover"),
        ("BACK  cover", "back cover"),
        ("Pin-up", "Pin-up"),
        ("letters  page", "letters page"),
        ("", ""),
    ],
)
def test_one_page_has_one_label(written: str, kept: str) -> None:
    assert clean_label(written) == kept


@given(st.text(max_size=40))
def test_any_text_is_a_label_with_a_place(text: str) -> None:
    cleaned = clean_label(text)
    assert clean_label(cleaned) == cleaned, "cleaning twice changes nothing"
    assert 0 <= page_order(text) < 2**31
    assert 0 <= page_order(cleaned) < 2**31


@pytest.mark.parametrize(
    ("filename", "label"),
    [
        ("p07.jpg", "7"),
        ("12_p07a.png", "7a"),
        ("Slow River 12 - 14.tiff", "14"),
        ("front-cover.tif", "front cover"),
        ("Series_12_COVER.webp", "cover"),
        ("inside_back_cover.jpg", "inside back cover"),
        (r"C:\scans\12\p03.jpg", "3"),
        ("scans/p03.jpeg", "3"),
        ("pin-up.png", "pin-up"),
        ("0001.png", "1"),
    ],
)
def test_a_scan_is_named_like_its_page(filename: str, label: str) -> None:
    assert label_from_filename(filename) == label


@given(st.text(max_size=60))
def test_any_file_name_gives_some_label(filename: str) -> None:
    label = label_from_filename(filename)
    assert label == clean_label(label)
