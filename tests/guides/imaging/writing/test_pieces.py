"""The pieces a page is read with, each against something that can be worked out by hand."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bible.colour.charts import Chart
from bible.colour.notation import LETTERS_64, PERCENT, STANDARD_NOTATIONS, Notation
from bible.colour.tints import Tint
from guides.imaging.writing import Lexicon, odds, parting
from guides.imaging.writing.crops import HEIGHT, LETTERS, WIDEST, Place, part_of, upright
from guides.imaging.writing.decode import chances, freely, likelihoods
from guides.imaging.writing.finder import Found, union_share, words
from guides.imaging.writing.hearing import following
from guides.imaging.writing.lexicon import SIGNS, Spelling
from guides.imaging.writing.models import models
from guides.imaging.writing.reader import together
from guides.training.making import hearts
from guides.training.tiles import CODE, OTHER, Word


@pytest.mark.parametrize(
    "notation",
    [*STANDARD_NOTATIONS.values(), Notation(key_steps=(("", 100), ("3", 50)))],
    ids=[*STANDARD_NOTATIONS, "key"],
)
def test_every_spelling_is_read_by_the_notation_as_its_code(notation: Notation) -> None:
    lexicon = Lexicon.of(notation)
    assert len(lexicon.codes) == len(notation.steps_chart.tints)
    for spelling in lexicon.spellings:
        if "/" not in spelling.text:
            assert notation.write(notation.read(spelling.text)) == spelling.code
        assert set(spelling.text) <= set(SIGNS)


def test_strokes_stand_between_cyan_magenta_and_yellow() -> None:
    lexicon = Lexicon.of(PERCENT)
    assert lexicon.by_text["50/0/100"].code == "C50 Y100"
    assert lexicon.by_text["25/25/25"].code == "C25 M25 Y25"


def test_the_usual_order_is_likelier_and_own_letters_and_aliases_are_known() -> None:
    lexicon = Lexicon.of(LETTERS_64)
    assert lexicon.by_text["YR3B2"].chance > 3 * lexicon.by_text["B2R3Y"].chance
    assert lexicon.by_text["YR3"].own
    assert not lexicon.by_text["M50Y100"].own
    house = Notation(letters="GPSK", paper="N", steps=(("", 100), ("5", 50)), aliases=(("S4", 50),))
    known = Lexicon.of(house).by_text
    assert known["S4P"].code == house.write(Tint(m=100, y=50))
    assert known["N"].code == "N"


def test_a_large_house_chart_still_makes_a_lexicon() -> None:
    tints = [Tint(c=c, m=m, y=y) for c, m, y in product(range(0, 100, 10), repeat=3)]
    lexicon = Lexicon.of(PERCENT, Chart.of("house", "house", tints))
    assert len(lexicon.codes) == 1000
    assert len(lexicon.spellings) < 1100


def _forced(text_signs: list[str], width: int, rng: np.random.Generator) -> np.ndarray:
    """Random chances (1, width, signs) over the blank and some signs."""
    shares = np.full((1, width, len(SIGNS) + 1), 1e-9, np.float32)
    places = [0, *(SIGNS.index(sign) + 1 for sign in text_signs)]
    shares[0][:, places] = rng.dirichlet(np.ones(len(places)), width)
    return shares


@given(seed=st.integers(0, 10_000))
@settings(max_examples=20, deadline=None)
def test_likelihoods_are_sums_over_every_way_to_fill_the_columns(seed: int) -> None:
    """By the definition of connectionist temporal classification (A. Graves and others, 2006), way by way."""
    rng = np.random.default_rng(seed)
    texts, width = ["Y", "YY", "YR", "R", "YRY"], 5
    lexicon = Lexicon(tuple(texts), tuple(Spelling(text, text, 1.0, True) for text in texts), "letters")
    shares = _forced(["Y", "R"], width, rng)
    logs, best = likelihoods(shares, lexicon)
    sums = dict.fromkeys(texts, 0.0)
    for way in product("-YR", repeat=width):
        said = "".join(b for a, b in zip(("-", *way), way, strict=False) if b not in ("-", a))
        if said in sums:
            each = [0 if sign == "-" else SIGNS.index(sign) + 1 for sign in way]
            sums[said] += float(np.prod([shares[0, column, sign] for column, sign in enumerate(each)]))
    assert np.allclose(np.exp(logs[0]), [sums[text] for text in texts], rtol=1e-3)
    assert [lexicon.spellings[number].text for number in best[0]] == texts


def test_words_read_together_say_what_each_says_alone() -> None:
    """Words are followed shortest first and so many at once: here more than that, long ones first."""
    rng, lexicon = np.random.default_rng(8), Lexicon.of(LETTERS_64)
    widths = [24 - n // 4 for n in range(70)]
    heard = [chances(rng.normal(size=(1, len(SIGNS) + 1, w)).astype(np.float32), np.array([w]))[0] for w in widths]
    logs, best = likelihoods(together(heard), lexicon)
    for number in (0, 35, 69):
        alone, own = likelihoods(heard[number][None], lexicon)
        possible = alone[0] > -120  # beyond that single precision tells nothing
        assert possible.sum() > 20
        assert np.allclose(logs[number][possible], alone[0][possible], atol=1e-2)
        assert (best[number][possible] == own[0][possible]).all()


def test_what_lies_behind_the_end_of_a_crop_does_not_count() -> None:
    rng = np.random.default_rng(5)
    said = rng.normal(size=(1, len(SIGNS) + 1, 8)).astype(np.float32)
    short = chances(said[:, :, :5], np.array([5]))
    long = chances(said, np.array([5]))
    lexicon = Lexicon.of(LETTERS_64)
    one, other = likelihoods(short, lexicon)[0], likelihoods(long, lexicon)[0]
    possible = one > -60  # a text with more signs than columns has no likelihood at all
    assert possible.sum() > 20
    assert np.allclose(one[possible], other[possible], atol=1e-3)
    assert freely(short)[0].text == freely(long)[0].text


@given(
    turn=st.floats(-0.35, 0.35), x=st.floats(120, 280), y=st.floats(120, 280), wide=st.floats(40, 120),
    high=st.floats(12, 40),
)  # fmt: skip
@settings(max_examples=30, deadline=None)
def test_a_place_is_cut_out_upright(turn: float, x: float, y: float, wide: float, high: float) -> None:
    place = Place(x, y, wide, high, turn)
    grid_y, grid_x = np.mgrid[0:400, 0:400]
    along = (grid_x - x) * np.cos(turn) + (grid_y - y) * np.sin(turn)
    down = (grid_y - y) * np.cos(turn) - (grid_x - x) * np.sin(turn)
    page = np.stack([along + 128.5, down + 128.5, np.full_like(along, 50)], -1).clip(0, 255).astype(np.uint8)
    crop = upright(page, place).astype(float)
    assert crop.shape[0] == HEIGHT
    assert 16 <= crop.shape[1] <= WIDEST
    rows = crop[:, crop.shape[1] // 2, 1] - 128
    assert abs(np.interp(0, rows, np.arange(HEIGHT)) - (HEIGHT - 1) / 2) < 2.0
    assert abs((rows[-1] - rows[0]) / (HEIGHT - 1) - high / LETTERS) < 0.2
    assert np.ptp(crop[HEIGHT // 2, :, 1]) <= 3


def test_the_parts_of_a_place_lie_along_it() -> None:
    place = Place(100.0, 80.0, 66.0, 22.0, 0.3)
    whole = part_of(place, 6.0, 72.0)
    assert abs(whole.x - place.x) < 0.1
    assert abs(whole.wide - place.wide) < 0.1
    left = part_of(place, 6.0, 39.0)
    assert left.x < place.x
    assert left.y < place.y
    assert union_share(left, Place(100.0, 80.0, 66.0, 22.0, 0.3)) == pytest.approx(0.5, abs=0.02)


def test_boxes_come_back_from_a_perfect_answer_of_the_network() -> None:
    rng = np.random.default_rng(2)
    given_words = [
        Word("", CODE if n % 2 else OTHER, Place(80 + 130 * (n % 4), 60 + 90 * (n // 4), 70 + n, 18 + n, turn))
        for n, turn in enumerate(rng.uniform(-0.3, 0.3, 12))
    ]
    found = words(_perfect(given_words, (400, 600)), (400, 600))
    assert len(found) == len(given_words)
    for item in found:
        match = max(given_words, key=lambda word: union_share(word.place, item.place))
        assert union_share(match.place, item.place) > 0.93
        assert item.kinds[match.kind - 1] > 0.9


def test_words_whose_hearts_run_into_each_other_are_parted_and_one_that_wavers_is_not() -> None:
    near = [Word("", CODE, Place(100, 100, 80, 24, 0.0)), Word("", CODE, Place(172, 108, 70, 24, 0.0))]
    said = _perfect(near, (200, 300))
    said[0] = np.where(said[0] > 0, said[0], -6.0)
    said[:, 25:27, 30:38] = np.where(said[0, 25:27, 30:38] > 0, said[:, 25:27, 30:38], said[:, 25:26, 28:29])
    found = sorted(words(said, (200, 300)), key=lambda item: item.place.x)
    assert [round(item.place.wide / 5) for item in found] == [16, 14]
    alone = _perfect(near[:1], (200, 300))
    alone[5:9] += np.random.default_rng(3).normal(0, 0.08, alone[5:9].shape).astype(np.float32)
    assert len(words(alone, (200, 300))) == 1


def test_pieces_follow_each_other_on_a_line_without_a_gap() -> None:
    first, second = Place(100, 100, 80, 20, 0.0), Place(172, 102, 60, 22, 0.05)
    below, far = Place(170, 130, 60, 20, 0.0), Place(300, 100, 60, 20, 0.0)
    assert following([second, first, below, far]) == [(1, 0)]
    assert following([first, Place(172, 102, 60, 50, 0.0)]) == []
    assert following([]) == []


def _perfect(given_words: list[Word], shape: tuple[int, int]) -> np.ndarray:
    """What a network that makes no mistake says of words."""
    kinds, owner = hearts(given_words, shape)
    said = np.zeros((10, *kinds.shape), np.float32)
    said[0] = np.where(kinds > 0, 6.0, -6.0)
    ys, xs = np.nonzero(owner)
    for y, x in zip(ys, xs, strict=True):
        word = given_words[owner[y, x] - 1]
        place = word.place
        across, below = (x + 0.5) * 4 - place.x, (y + 0.5) * 4 - place.y
        along = across * np.cos(place.turn) + below * np.sin(place.turn)
        down = below * np.cos(place.turn) - across * np.sin(place.turn)
        edges = [along + place.wide / 2, place.wide / 2 - along, down + place.high / 2, place.high / 2 - down]
        said[5:9, y, x] = np.log(np.maximum(edges, 1.0) / 16)
        said[9, y, x] = place.turn
        said[word.kind, y, x] = 5.0
    return said


def test_boxes_are_parted_where_two_codes_or_three_read_likelier_than_one(monkeypatch: pytest.MonkeyPatch) -> None:
    lexicon = Lexicon.of(PERCENT)
    item = Found(Place(200, 100, 180, 22, 0.0), 1.0, (1.0, 0.0, 0.0, 0.0))
    doubtful = _said("C25Y25Y50", {3: ("Y", "M")})
    boxes = [doubtful, _said("M50Y25", {}), _said("M100Y25Y100", {}), _said("50/25/50M100C25M50", {})]
    pieces = iter(["M100Y25", "Y100", "50/25/50", "M100C25M50", "M100", "C25M50"])
    shown = list[str]()

    def say(_: object, crops: list[np.ndarray]) -> list[np.ndarray]:
        shown.extend(next(pieces) for _ in crops)
        return [_said(name, {}) for name in shown[-len(crops) :]]

    monkeypatch.setattr(parting, "say", say)
    page = np.full((200, 400, 3), 255, np.uint8)
    asked, heard = parting.parted(page, [item] * 4, boxes, lexicon, models())
    texts = [reading.text for reading in freely(together(heard))]
    assert texts[:2] == ["C25Y25Y50", "M50Y25"], "one letter misread makes no two codes of one"
    assert sorted(texts[2:]) == ["50/25/50", "C25M50", "M100", "M100Y25", "Y100"]
    assert asked[:2] == [item, item]
    assert all(piece.place.wide < 180 for piece in asked[2:])


def test_other_writing_and_single_signs_are_not_parted(monkeypatch: pytest.MonkeyPatch) -> None:
    lexicon, page = Lexicon.of(PERCENT), np.full((200, 400, 3), 255, np.uint8)
    monkeypatch.setattr(parting, "say", lambda *_: pytest.fail("nothing is to be read again"))
    lettering = Found(Place(200, 100, 180, 22, 0.0), 1.0, (0.2, 0.8, 0.0, 0.0))
    code = Found(Place(200, 100, 180, 22, 0.0), 1.0, (1.0, 0.0, 0.0, 0.0))
    boxes = [_said("M100Y25Y100", {}), _said("C5Y", {})]
    assert parting.parted(page, [lettering, code], boxes, lexicon, models())[0] == [lettering, code]
    assert parting.parted(page, [], [], lexicon, models()) == ([], [])


def _said(text: str, unsure: dict[int, tuple[str, str]]) -> np.ndarray:
    """As ``_heard``, every sign three columns from the next, and none impossible anywhere."""
    return np.maximum(_heard(text, tuple(2 + 3 * number for number in range(len(text))), unsure), np.float32(1e-4))


def _heard(text: str, columns: tuple[int, ...], unsure: dict[int, tuple[str, str]]) -> np.ndarray:
    """What a reader says that sees these signs in these columns, and either of two where it is ``unsure``."""
    said = np.zeros((columns[-1] + 4, len(SIGNS) + 1), np.float32)
    said[:, 0] = 1.0
    for number, (sign, column) in enumerate(zip(text, columns, strict=True)):
        said[column] = 0.0
        for share, seen in zip((0.6, 0.4), unsure.get(number, (sign, sign)), strict=True):
            said[column, SIGNS.index(seen) + 1] += share
    return said


def test_a_word_is_unlike_a_page_by_the_weighted_median_of_its_other_words() -> None:
    heights, weights = np.array([20.0, 21.0, 22.0, 60.0, 5.0]), np.array([1.0, 1.0, 1.0, 1.0, 0.0])
    expected = [abs(20 - 22), abs(21 - 22), abs(22 - 21), abs(60 - 21), abs(5 - 21)]
    believed = np.array([3, 3, 3, 3, 4]) / (np.array([3, 3, 3, 3, 4]) + odds.FEW)
    assert odds.unlike(heights, weights) == pytest.approx(expected * believed)
    assert odds.unlike(np.array([20.0]), np.array([1.0])).tolist() == [0.0]
    assert odds.unlike(np.zeros(0), np.zeros(0)).shape == (0,)
