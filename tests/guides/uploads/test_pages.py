"""Page labels: how people write them, and in which order pages stand. Common practice, no source."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from guides.core.labels import clean_label, label_from_filename, labels_from_filenames, page_order, pages_shown

READING_ORDER = [
    "cover",
    "cover b",
    "inside front",
    "1",
    "2",
    "2a",
    "2b",
    "2-3",
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
        ("pp. 02–03", "2-3"),
        ("2 - 3", "2-3"),
        ("14+15", "14-15"),
        ("Cover B", "cover b"),
        ("3-2", "3-2"),
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


@pytest.mark.parametrize(
    ("filename", "label"),
    [
        ("pp02-03.tif", "2-3"),
        ("p14-p15.tif", "14-15"),
        ("Slow River 14-15.tif", "14-15"),
        ("IFC.tif", "inside front"),
        ("river-12_OBC.tif", "back"),
        ("c3.tif", "inside back"),
        ("cover b.png", "cover b"),
        ("cover2.jpg", "cover 2"),
        ("insidefrontcover.tif", "inside front cover"),
        ("river 12 inside front.jpg", "inside front"),
        ("p. 7.tif", "7"),
        ("p#7.png", "7"),
        ("page 1a.tif", "1a"),
        ("1A.TIF", "1a"),
        ("scan0007.tif", "7"),
        ("p２.png", "2"),
    ],
)
def test_sides_of_a_cover_double_pages_and_other_ways_to_say_it(filename: str, label: str) -> None:
    assert label_from_filename(filename) == label


@pytest.mark.parametrize(
    ("filename", "label"),
    [
        ("river12_07_600dpi.tif", "7"),
        ("page-07-final-v3.tif", "7"),
        ("cover_v2.jpg", "cover"),
        ("2024-05-12 p3.tif", "3"),
        ("20240512_3.tif", "3"),
        ("008-rgb-16bit.tif", "8"),
        ("p07 (2).jpg", "7"),
        ("p7b copy.jpg", "7b"),
        ("Scan (7).jpg", "7"),
        ("Back to the river 12 07.jpg", "7"),
        ("p7-12.tif", "7"),
    ],
)
def test_what_speaks_of_the_scan_or_the_title_is_no_page(filename: str, label: str) -> None:
    assert label_from_filename(filename) == label


def test_the_issues_own_number_is_no_left_page() -> None:
    assert label_from_filename("12-13.tif", "12") == "13"
    assert label_from_filename("12-13.tif", "40") == "12-13"
    assert label_from_filename("12.tif", "12") == "12", "nothing else in the name speaks of a page"


@pytest.mark.parametrize(
    ("filenames", "labels"),
    [
        (["River 12 7 of 28.tif", "River 12 8 of 28.tif", "River 12 cover.tif"], ["7", "8", "cover"]),
        (["12_1_300.tif", "12_2_300.tif"], ["1", "2"]),
        (["p1 a4.tif", "p2 a4.tif"], ["1", "2"]),
        (["p1.tif", "p1.tif"], ["1", "1"]),
        (["p1.tif", "page 1.png"], ["1", "1"]),
        (["12_07.tif"], ["7"]),
        ([], []),
    ],
)
def test_a_figure_that_every_name_of_a_folder_carries_is_no_page(filenames: list[str], labels: list[str]) -> None:
    assert labels_from_filenames(filenames, "12") == labels


def test_two_labels_can_speak_of_one_page() -> None:
    assert pages_shown("2-3") & pages_shown("3")
    assert pages_shown("front cover") & pages_shown("cover")
    assert not pages_shown("2-3") & pages_shown("4")
    assert not pages_shown("cover") & pages_shown("cover b")


@given(st.lists(st.text("ab p0123456789-_ .()", max_size=30), max_size=6), st.text("0123456789", max_size=3))
def test_any_folder_gives_a_label_a_file(filenames: list[str], issue: str) -> None:
    labels = labels_from_filenames(filenames, issue)
    assert len(labels) == len(filenames)
    assert all(label == clean_label(label) for label in labels)


@given(st.text(max_size=60))
def test_any_file_name_gives_some_label(filename: str) -> None:
    label = label_from_filename(filename)
    assert label == clean_label(label)
