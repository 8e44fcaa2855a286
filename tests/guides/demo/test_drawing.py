"""The drawn page guides: deterministic, marked in clear paint, richer than print, flagged as told."""

from __future__ import annotations

import io
import warnings
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from PIL import Image

from bible.colour.tints import Tint
from guides.demo.artist.annotate import CLEAR_PART
from guides.demo.artist.drawing import PAGE, DrawnPage, draw_page
from guides.demo.artist.dyes import dye_rgb
from guides.demo.artist.gallery import drawn_pages
from guides.demo.story.plot import demo_story
from guides.demo.story.story import Hand, PageSpec, count_flags
from guides.demo.story.tintbox import CHART

STORY = demo_story()
CHOSEN = (("1", "1"), ("5", "4"), ("9", "cover"), ("15", "5"), ("16", "1"), ("19", "4"))


def spec(issue: str, label: str) -> PageSpec:
    return next(page for page in STORY.pages if (page.issue, page.label) == (issue, label))


@pytest.fixture(scope="module")
def pages() -> dict[tuple[str, str], DrawnPage]:
    return {key: draw_page(spec(*key), STORY) for key in CHOSEN}


def test_a_page_is_the_same_every_time(pages: dict[tuple[str, str], DrawnPage]) -> None:
    again = draw_page(spec("1", "1"), STORY)
    first = pages["1", "1"]
    assert again.marks == first.marks
    assert np.array_equal(np.asarray(again.image), np.asarray(first.image))


def test_helpers_draw_the_same_pages_as_one_hand_does(pages: dict[tuple[str, str], DrawnPage]) -> None:
    few = replace(STORY, pages=(spec("1", "1"), spec("9", "cover")))
    alone, together = list(drawn_pages(few, workers=1)), list(drawn_pages(few, workers=2))
    assert [page.jpeg for page in alone] == [page.jpeg for page in together]
    assert [page.marks for page in together] == [pages["1", "1"].marks, pages["9", "cover"].marks]


def test_another_revision_is_another_scan(pages: dict[tuple[str, str], DrawnPage]) -> None:
    later = draw_page(replace(spec("1", "1"), revision=2), STORY)
    assert not np.array_equal(np.asarray(later.image), np.asarray(pages["1", "1"].image))


@pytest.mark.parametrize("key", CHOSEN)
def test_pages_are_pictures_with_marks_inside_them(
    pages: dict[tuple[str, str], DrawnPage], key: tuple[str, str]
) -> None:
    page = pages[key]
    assert page.image.mode == "RGB"
    assert page.image.size == PAGE
    assert 8 <= len(page.marks) <= 40
    assert all(0 < mark.x < 1 and 0 < mark.y < 1 for mark in page.marks)
    named = [(m.subject, m.costume, m.part, m.role) for m in page.marks if m.subject]
    assert len(named) == len(set(named)), "a code is told once a page"


@pytest.mark.parametrize("key", CHOSEN)
def test_marks_sit_in_paint_not_on_line(pages: dict[tuple[str, str], DrawnPage], key: tuple[str, str]) -> None:
    grey = np.asarray(pages[key].image.convert("L")).astype(int)
    reach = int(CLEAR_PART) - 3
    for mark in pages[key].marks:
        x, y = int(mark.x * PAGE[0]), int(mark.y * PAGE[1])
        around = grey[y - reach : y + reach + 1, x - reach : x + reach + 1]
        darker = np.minimum(around, np.median(around))  # white pencil may lead over it, as on real pages
        assert darker.std() < 26, mark  # a pen line through the window would give 60 and more on light paint


def test_paint_under_a_mark_is_the_colour_of_its_code(pages: dict[tuple[str, str], DrawnPage]) -> None:
    page = pages["1", "1"]
    picture = np.asarray(page.image).astype(float) / 255
    hand = STORY.person_by_username["thea"].hand
    swatches = {code: dye_rgb(tint, hand) for code, tint in CHART.items()}
    right = 0
    for mark in page.marks:
        x, y = int(mark.x * PAGE[0]), int(mark.y * PAGE[1])
        seen = np.median(picture[y - 4 : y + 5, x - 4 : x + 5].reshape(-1, 3), axis=0)
        near = sorted(swatches, key=lambda code: float(np.abs(swatches[code] - seen).sum()))
        right += mark.written in near[:8]
    assert right >= 0.85 * len(page.marks)


@pytest.mark.parametrize(
    ("key", "kind", "count"),
    [
        (("1", "1"), None, 0),
        (("5", "4"), "unreadable", 1),
        (("15", "5"), "out of use", 4),
        (("16", "1"), "differs", 12),
    ],
)
def test_pages_raise_the_flags_of_their_story(
    pages: dict[tuple[str, str], DrawnPage], key: tuple[str, str], kind: str | None, count: int
) -> None:
    flags = count_flags(STORY, [(spec(*key), mark.for_continuity) for mark in pages[key].marks])
    if kind is None:
        assert not flags
    else:
        assert flags[kind] >= count
        assert set(flags) == {kind}


def test_the_page_where_paint_and_pencil_disagree_is_painted_right(pages: dict[tuple[str, str], DrawnPage]) -> None:
    mark = next(m for m in pages["19", "4"].marks if m.subject == "nell" and m.part == "smock" and m.role == "base")
    assert mark.written == "Y3"
    hand = STORY.person_by_username["dot"].hand
    picture = np.asarray(pages["19", "4"].image).astype(float) / 255
    x, y = int(mark.x * PAGE[0]), int(mark.y * PAGE[1])
    seen = np.median(picture[y - 5 : y + 6, x - 5 : x + 6].reshape(-1, 3), axis=0)
    painted, written = dye_rgb(CHART["Y2"], hand), dye_rgb(CHART["Y3"], hand)
    assert np.abs(seen - painted).sum() < np.abs(seen - written).sum()


def test_dyes_are_richer_than_newsprint() -> None:
    # TR 002 (CGATS/SNAP, coldset newsprint) solids in Lab: yellow 76.6, -4.1, 54.7; magenta 52.7, 44.1, -1.1;
    # cyan 56.6, -23.4, -26.5. Chroma of the dyes must lie well above those of the press.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # colour-science tells of absent plotting parts
        import colour

    for tint, chroma in ((Tint(y=100), 54.9), (Tint(m=100), 44.1), (Tint(c=100), 35.4)):
        lab = colour.XYZ_to_Lab(
            colour.sRGB_to_XYZ(dye_rgb(tint, Hand())),
            colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"],
        )
        assert float(np.hypot(lab[1], lab[2])) > 1.25 * chroma


def test_every_step_of_every_ink_paints_darker_and_hands_differ() -> None:
    for ink in "cmy":
        tones = [dye_rgb(Tint(**{ink: step}), Hand()).sum() for step in (0, 25, 50, 100)]
        assert tones == sorted(tones, reverse=True)
    hands = [STORY.person_by_username[name].hand for name in ("thea", "ruben", "dot")]
    colours = [dye_rgb(CHART["YR3B2"], hand) for hand in hands]
    assert all(np.abs(a - b).max() > 0.02 for a, b in pairwise(colours))


def test_a_page_fits_a_media_folder(pages: dict[tuple[str, str], DrawnPage]) -> None:
    sizes = [len(page.jpeg()) for page in pages.values()]
    assert np.mean(sizes) * len(STORY.pages) < 60e6
    assert Image.open(io.BytesIO(pages["1", "1"].jpeg())).size == PAGE
