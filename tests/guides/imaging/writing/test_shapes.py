"""A colourist's own letter shapes: learnt from confirmed codes, kept as JSON, asked about readings."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from bible.colour.notation import LETTERS_64
from guides.imaging.writing import HandShapes, HandShapesError, learnt_from, read_page
from guides.imaging.writing.crops import Place
from guides.imaging.writing.lexicon import SIGNS
from guides.imaging.writing.models import models
from guides.imaging.writing.shapes import everybody, nearer, said_at
from guides.training.tiles import Word
from tests.guides.imaging.writing.written_pages import LETTERS, plain_page

CHANNELS = len(SIGNS) + 1


def shares_of(*signs: str) -> np.ndarray:
    """Columns in which the reader is sure of a sign each; "" is the blank."""
    shares = np.full((len(signs), CHANNELS), 1e-4, np.float32)
    for column, sign in enumerate(signs):
        shares[column, SIGNS.index(sign) + 1 if sign else 0] = 0.9
    return shares


def confirmed(words: list[Word]) -> list[tuple[Place, str]]:
    """What a person says of each: the code as the series writes it, however it stands there."""
    return [(word.place, LETTERS_64.write(LETTERS_64.read(word.text))) for word in words]


def test_signs_are_found_in_the_columns_where_they_stand() -> None:
    said = said_at(shares_of("", "Y", "Y", "", "3", ""), "Y3")
    assert said.shape == (2, CHANNELS)
    assert [SIGNS[int(row.argmax()) - 1] for row in said] == ["Y", "3"]
    assert [SIGNS[int(row.argmax()) - 1] for row in said_at(shares_of("1", "0", "", "0"), "100")] == ["1", "0", "0"]


def test_a_text_longer_than_its_columns_breaks_nothing() -> None:
    assert np.isfinite(said_at(shares_of("Y"), "Y")).all()
    assert said_at(shares_of("Y", "R"), "Y100").shape == (4, CHANNELS)


def test_a_hand_learns_from_confirmed_codes_and_comes_back_from_json() -> None:
    page, words = plain_page("letters", 8)
    codes = confirmed(words)
    hand = learnt_from(page, codes, LETTERS)
    assert hand.codes == len(codes)
    assert hand.seen["Y"] == sum("Y" in text for _, text in codes)
    assert HandShapes.from_json(json.loads(json.dumps(hand.as_json()))) == hand
    more = learnt_from(page, codes[:3], LETTERS, hand)
    assert more.codes == hand.codes + 3
    assert learnt_from(page, [(words[0].place, "no code")], LETTERS, hand) == hand
    assert len(json.dumps(hand.as_json())) < 20_000


def test_a_sign_written_as_this_hand_writes_it_gains_by_the_hand_and_none_unseen() -> None:
    usual = everybody(models())
    assert {"Y", "R", "B", "2", "3"} <= set(usual)
    odd = usual["R"] + np.where(np.arange(CHANNELS) == SIGNS.index("2") + 1, 5.0, 0.0)
    hand = HandShapes().with_signs([("R", odd)] * 5, 5)
    assert nearer("R", odd, hand, usual) > 0
    assert nearer("R", usual["R"], hand, usual) < 0
    assert nearer("B", usual["B"], hand, usual) == 0.0


def test_a_page_is_read_no_worse_once_its_hand_is_known() -> None:
    learnt, words = plain_page("letters", 9, tall=15.0)
    hand = learnt_from(learnt, confirmed(words), LETTERS)
    page, words = plain_page("letters", 9 + 24 * 5, tall=15.0)
    truth = [code for _, code in confirmed(words)]

    def right(known: HandShapes | None) -> int:
        codes = read_page(page, LETTERS, hand=known).codes
        return sum(code.code in truth for code in codes)

    assert right(hand) >= right(None)
    assert [c.code for c in read_page(page, LETTERS, hand=HandShapes()).codes] == [
        c.code for c in read_page(page, LETTERS).codes
    ]


@pytest.mark.parametrize(
    "document",
    [
        None, [], {}, {"codes": 1}, {"codes": -1, "signs": {}}, {"codes": 1, "signs": {"Y": []}},
        {"codes": 1, "signs": {"Y": [1, 2, 3]}}, {"codes": 1, "signs": {"?": [1, *[0.0] * CHANNELS]}},
        {"codes": 1, "signs": {"Y": [0, *[0.0] * CHANNELS]}}, {"codes": 1, "signs": {"Y": [1, *["x"] * CHANNELS]}},
        {"codes": 1, "signs": {"Y": [1, *[float("nan")] * CHANNELS]}}, {"codes": "many", "signs": {}},
    ],
)  # fmt: skip
def test_what_is_no_hand_is_refused(document: object) -> None:
    with pytest.raises(HandShapesError, match="no hand's shapes"):
        HandShapes.from_json(document)


def test_old_sights_fade_once_there_are_many() -> None:
    before = HandShapes().with_signs([("Y", np.zeros(CHANNELS))] * 300, 300)
    after = before.with_signs([("Y", np.ones(CHANNELS))] * 50, 50)
    assert after.seen["Y"] == 200
    assert after.means["Y"][0] > 0.15
    assert replace(after).codes == 350
