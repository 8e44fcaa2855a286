"""A colourist's letters, learnt from answered pages before the next one is read."""

from __future__ import annotations

import io
import math
from typing import Any

import numpy as np
import pytest
from django.core.files.base import ContentFile
from PIL import Image

from bible.colour.notation import LETTERS_64
from bible.models import Series
from guides.found import searching, services
from guides.found.hands import hand_of, place_of
from guides.found.services import CodeAnswer, read_guide_page, take_codes
from guides.imaging.writing import HandShapes, Writing, WritingModelError
from guides.imaging.writing.crops import Place
from guides.models import CodeSearch, FoundCode, Guide, KnownHand
from tests.factories import make_found, make_guide, make_issue, make_member, make_search
from tests.guides.imaging.writing.written_pages import plain_page

pytestmark = pytest.mark.django_db


def written_page(issue: Any, by: Any, **overrides: Any) -> Guide:
    """A page of eight codes in one hand, found with their boxes and read as they were written."""
    picture, words = plain_page("letters", 8, count=8)
    guide = make_guide(issue, colourist=by, **overrides)
    file = io.BytesIO()
    Image.fromarray(picture).save(file, "PNG")
    guide.screen.save("tests/written.png", ContentFile(file.getvalue()))
    make_search(guide)
    height, width = picture.shape[:2]
    for word in words:
        left, top, right, bottom = word.place.bounds()
        box = {"left": left / width, "top": top / height, "right": right / width, "bottom": bottom / height}
        code, angle = LETTERS_64.write(LETTERS_64.read(word.text)), math.degrees(word.place.turn)
        make_found(guide, code, x=word.place.x / width, y=word.place.y / height, angle=angle, **box)
    return guide


def answer_all(guide: Guide, by: Any, keep: int = 0) -> None:
    rows = list(FoundCode.objects.filter(guide=guide).waiting().select_related("guide__series", "part"))
    take_codes(guide=guide, answers=[CodeAnswer.as_read(row) for row in rows[keep:]], by=by)


def test_answered_pages_teach_before_the_next_is_read(
    series: Series, fill_in: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    issue = make_issue(series)
    page, following = written_page(issue, fill_in, page="1"), make_guide(issue, colourist=fill_in, page="2")
    elsewhere = make_guide(issue, colourist=make_member(series), page="3")
    answer_all(page, fill_in, keep=1)
    assert hand_of(following) is None, "a code still waits"
    answer_all(page, fill_in)
    assert hand_of(page) is None, "a page teaches nothing of itself"
    assert hand_of(elsewhere) is None, "another colourist's"
    asked: list[Any] = []

    def reads_nothing(*_: Any, hand: HandShapes | None) -> Writing:
        asked.append(hand)
        return Writing((), (), False, ())

    monkeypatch.setattr(searching, "read_page", reads_nothing)
    for _ in range(2):  # learnt once
        read_guide_page(following)
    assert [hand.codes for hand in asked] == [8, 8]
    assert asked[0] == asked[1]
    assert asked[0].seen["Y"] > 0
    assert CodeSearch.objects.get(guide=page).learnt_from
    KnownHand.objects.update(shapes={"codes": "damaged"})
    assert hand_of(following) is None


def test_few_answers_and_codes_let_in_teach_nothing(series: Series, fill_in: Any) -> None:
    issue = make_issue(series)
    few, following = (
        make_guide(issue, colourist=fill_in, page="1"),
        make_guide(issue, colourist=fill_in, page="2"),
    )
    for n in range(4):
        make_found(few, y=0.1 + 0.2 * n)
    answer_all(few, fill_in)
    let_in = written_page(issue, fill_in, page="3")
    services.let_sure_in(guide=let_in)
    assert not FoundCode.objects.waiting().exists()
    assert hand_of(following) is None
    assert hand_of(make_guide(issue)) is None, "nobody coloured it"


def test_a_page_that_cannot_be_looked_at_is_passed_over(
    series: Series, fill_in: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    issue = make_issue(series)
    page, following = written_page(issue, fill_in, page="1"), make_guide(issue, colourist=fill_in, page="2")
    answer_all(page, fill_in)

    def damaged(*_: Any) -> Any:
        raise WritingModelError("the reader is damaged")

    with monkeypatch.context() as patched:
        patched.setattr("guides.found.hands.learnt_from", damaged)
        assert hand_of(following) is None
    page.screen.storage.delete(str(page.screen.name))
    assert hand_of(following) is None
    assert not CodeSearch.objects.get(guide=page).learnt_from, "it may teach once it is back"


@pytest.mark.parametrize("degrees", [-20, 0, 12])
def test_a_turned_box_comes_back_from_the_level_one_round_it(degrees: float) -> None:
    place = Place(300, 200, 90, 24, math.radians(degrees))
    left, top, right, bottom = place.bounds()
    row = FoundCode(left=left / 600, top=top / 400, right=right / 600, bottom=bottom / 400, angle=degrees)
    back = place_of(row, (600, 400))
    assert back is not None
    np.testing.assert_allclose(back.corners(), place.corners(), atol=0.01)


def test_a_steep_or_empty_box_is_none() -> None:
    box = {"left": 0.1, "top": 0.1, "right": 0.2, "bottom": 0.2}
    assert place_of(FoundCode(**box, angle=44), (600, 400)) is None
    assert place_of(FoundCode(**box | {"right": 0.1}, angle=0), (600, 400)) is None
