"""Looking codes up by words, and running order: pages and commands share both."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from bible.locks.queries import LOOKUP_LIMIT, look_up
from bible.models import Part, Series
from bible.series.running_order import LATEST
from tests.factories import make_costume, make_issues, make_lock, make_part, make_series, make_subject

pytestmark = pytest.mark.django_db


@pytest.fixture
def ada(series: Series) -> Any:
    return make_subject(series, name="Ada Penn")


@pytest.fixture
def coat(ada: Any) -> Any:
    return make_part(costume=make_costume(ada, name="work clothes"), name="coat")


@pytest.mark.parametrize("words", ["ada coat", "COAT ADA", "ad co", "penn clothes", "  coat  "])
def test_every_word_has_to_fit_somewhere(series: Series, coat: Any, words: str) -> None:
    assert [found.part for found in look_up(series, words, LATEST)] == [coat]


@pytest.mark.parametrize("words", ["ada hat", "ada%coat", "_da", "coat'", "\\"])
def test_a_word_that_fits_nowhere_finds_nothing(series: Series, coat: Any, words: str) -> None:
    assert look_up(series, words, LATEST) == []


@pytest.mark.parametrize("which", ["subject", "costume", "part"])
def test_a_new_name_is_found_and_the_old_one_no_more(series: Series, coat: Any, ada: Any, which: str) -> None:
    """However the row was changed: the database keeps the capitals that are searched."""
    for rename in ("saved", "updated"):
        named = {"subject": ada, "costume": coat.costume, "part": coat}[which]
        old, named.name = named.name, f"Grün {rename}"
        if rename == "saved":
            named.save()
        else:
            type(named).objects.filter(pk=named.pk).update(name=named.name)
        assert [found.part for found in look_up(series, f"GRün {rename.upper()}", LATEST)] == [coat]
        assert look_up(series, old, LATEST) == []


@pytest.mark.parametrize("words", ["", "   "])
def test_no_words_find_nothing(series: Series, coat: Any, words: str) -> None:
    assert look_up(series, words, LATEST) == []


def test_locks_are_those_in_force_base_first(series: Series, coat: Any) -> None:
    first, second = make_issues(series, 2)
    shade = make_lock(coat, "YR3B3", role="shade")
    base = make_lock(coat, "YR3B2")
    later = make_lock(coat, "YR", from_position=second.position)
    [now] = look_up(series, "coat", LATEST)
    assert now.locks == (later, shade)
    [then] = look_up(series, "coat", first.position)
    assert [lock.tint for lock in then.locks] == [base.tint, shade.tint]


def test_whether_it_is_worn_then_is_told(series: Series, ada: Any) -> None:
    first, second = make_issues(series, 2)
    make_part(costume=make_costume(ada, name="uniform", from_position=second.position), name="cap")
    assert [found.in_use for found in look_up(series, "cap", first.position)] == [False]
    assert [found.in_use for found in look_up(series, "cap", second.position)] == [True]


def test_other_series_and_archived_things_are_not_found(series: Series, coat: Any, ada: Any) -> None:
    make_part(costume=make_costume(make_subject(make_series(), name="Ada Penn")), name="coat")
    assert len(look_up(series, "ada coat", LATEST)) == 1
    ada.archived_at = timezone.now()
    ada.save()
    assert look_up(series, "ada coat", LATEST) == []


def test_answers_are_bounded_and_cost_the_same(series: Series, ada: Any) -> None:
    costume = make_costume(ada)
    counts = []
    for more in (3, LOOKUP_LIMIT + 10):
        for n in range(more):
            make_lock(make_part(costume=costume, name=f"button {more} {n}"), "Y")
        with CaptureQueriesContext(connection) as asked:
            found = look_up(series, "button", LATEST)
        counts.append(len(asked))
    assert len(found) == LOOKUP_LIMIT
    assert counts[0] == counts[1]


class TestCalled:
    """A part by its full name, without a search through all names."""

    @pytest.mark.parametrize(
        ("subject", "costume", "part"),
        [("Ada Penn", "work coat", "coat"), ("ada penn", "work coat", "coat"), ("Ада", "пальто", "воротник")],
    )
    def test_the_one_with_the_full_name_is_found(self, subject: str, costume: str, part: str) -> None:
        series = make_series()
        made = make_part(costume=make_costume(make_subject(series, name=subject), name=costume), name=part)
        make_part(costume=made.costume, name=f"{part} lining")
        assert Part.objects.of_series(series).called(made.full_name) == made

    @pytest.mark.parametrize("words", ["", "coat", "Ada Penn, work coat: hat", "Ada Penn, : coat", ": ", ", : "])
    def test_nothing_else_is(self, words: str) -> None:
        series = make_series()
        make_part(costume=make_costume(make_subject(series, name="Ada Penn"), name="work coat"), name="coat")
        assert Part.objects.of_series(series).called(words) is None

    def test_a_name_that_reads_in_two_ways_is_left_to_the_search(self) -> None:
        series = make_series()
        twins = [
            make_part(costume=make_costume(make_subject(series, name=subject), name=costume), name="hem")
            for subject, costume in [("Ada, the elder", "coat"), ("Ada", "the elder, coat")]
        ]
        assert len({twin.full_name for twin in twins}) == 1
        assert Part.objects.of_series(series).called(twins[0].full_name) is None

    def test_other_series_and_archived_parts_are_passed_over(self) -> None:
        made = make_part(costume=make_costume(make_subject(make_series(), name="Ada"), name="coat"), name="hem")
        assert Part.objects.of_series(make_series()).called(made.full_name) is None
        Part.objects.filter(pk=made.pk).update(archived_at=timezone.now())
        assert Part.objects.of_series(made.costume.subject.series).called(made.full_name) is None
