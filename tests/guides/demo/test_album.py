"""The demo's second printing: four issues on coated paper, one code of its own, and what that asks of the marks."""

from __future__ import annotations

from typing import Any

import pytest

from bible.colour.tints import Tint
from bible.models import Series
from guides.core.in_editions import marks_of, translated
from guides.demo.album import ALBUM, COLLECTED, print_an_album
from tests.factories import make_costume, make_guide, make_issue, make_lock, make_mark, make_part, make_subject

pytestmark = pytest.mark.django_db


def test_an_album_is_printed_once(series: Series, lead: Any) -> None:
    issues = [make_issue(series, number=number) for number in ("12", *COLLECTED)]
    coat = make_part(costume=make_costume(make_subject(series, name="Tamsin"), name="work coat"), name="coat")
    make_lock(coat, "YR", by=lead)
    pages = [make_guide(issue, by=lead) for issue in issues[:2]]
    before, within = (make_mark(page, "YR", part=coat) for page in pages)
    for _ in range(2):
        print_an_album(series, lead)
    album = series.editions.get()
    assert (album.name, [issue.number for issue in album.issues]) == (ALBUM, list(COLLECTED))
    assert [(mark.pk, mark.needed) for mark in translated(marks_of(album), album)] == [  # type: ignore[attr-defined]
        (within.pk, Tint(m=100, y=50))
    ]
    assert not within.flag_kind
    assert before.tint == within.tint


def test_without_its_issues_there_is_no_album(series: Series, lead: Any) -> None:
    print_an_album(series, lead)
    assert not series.editions.exists()
