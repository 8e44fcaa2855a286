"""Looking codes up by words, and running order: pages and commands share both."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from bible.locks.queries import LOOKUP_LIMIT, Answer, answer_to, look_up
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


@pytest.mark.parametrize("words", ["ada coat", "COAT ADA", "ad co", "penn clothes", "  coat  ", "ada\0coat"])
def test_every_word_has_to_fit_somewhere(series: Series, coat: Any, words: str) -> None:
    assert [found.part for found in look_up(series, words, LATEST)] == [coat]


@pytest.mark.parametrize("words", ["ada hat", "ada%coat", "_da", "c'o'at", "\\"])
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
    # Where more fit than are shown, names are weighed alone: who is worn, all names, the best of them.
    assert counts[1] <= counts[0] + 3


class TestBestFirst:
    @pytest.fixture
    def crew(self, series: Series) -> dict[str, Any]:
        """Tamsin Reed with a coat of eight parts, and others in whose names the letters stand somewhere."""
        tamsin = make_subject(series, name="Tamsin Reed")
        work = make_costume(tamsin, name="tan coat")
        parts = {name: make_part(costume=work, name=name) for name in ("belt", "buttons", "collar", "hem", "coat")}
        make_part(costume=make_costume(make_subject(series, name="Agatha Stone"), name="coat"), name="table cover")
        make_part(costume=make_costume(make_subject(series, name="Bo Talcott"), name="old"), name="hat")
        return parts

    def test_two_letters_of_each_word_put_the_part_that_is_meant_first(self, series: Series, crew: Any) -> None:
        found = [one.part.full_name for one in look_up(series, "ta co", LATEST)]
        assert found[:2] == ["Tamsin Reed, tan coat: coat", "Tamsin Reed, tan coat: collar"]
        assert len(found) > 4

    @pytest.mark.parametrize("words", ["tamsin coat", "coat tamsin", "COAT TAMSIN"])
    def test_the_order_of_words_does_not_matter(self, series: Series, crew: Any, words: str) -> None:
        assert look_up(series, words, LATEST)[0].part == crew["coat"]

    def test_the_rest_of_a_costume_comes_after_the_part_it_is_called_for(self, series: Series, crew: Any) -> None:
        found = [one.part.name for one in look_up(series, "tan coat", LATEST)]
        assert (found[0], set(found)) == ("coat", {"coat", "belt", "buttons", "collar", "hem"})

    def test_what_is_worn_comes_before_what_is_not(self, series: Series) -> None:
        first, second = make_issues(series, 2)
        ada = make_subject(series, name="Ada")
        old = make_part(costume=make_costume(ada, name="old", to_position=second.position), name="cap")
        new = make_part(costume=make_costume(ada, name="new", rank=1, from_position=second.position), name="cap")
        for position, best in ((first.position, old), (second.position, new)):
            assert look_up(series, "cap", position)[0].part == best

    def test_the_best_of_more_than_are_shown_is_shown(self, series: Series) -> None:
        for n in range(LOOKUP_LIMIT + 5):
            make_part(costume=make_costume(make_subject(series, name=f"Figure {n:03}"), name="coat"), name="sleeve")
        last = make_part(costume=make_costume(make_subject(series, name="Zoe"), name="rags"), name="coat")
        found = look_up(series, "coat", LATEST)
        assert (len(found), found[0].part) == (LOOKUP_LIMIT, last)


class TestByCode:
    def test_who_wears_it_comes_before_who_wore_it(self, series: Series, coat: Any) -> None:
        first, second = make_issues(series, 2)
        past = make_lock(coat, "YR3B2", to_position=second.position)
        make_lock(coat, "B", from_position=second.position)
        boat = make_part(costume=make_costume(make_subject(series, name="Zephyr"), name="as drawn"), name="hull")
        now = make_lock(boat, "YR3B2")
        make_lock(make_part(series), "YR3B")
        found = look_up(series, "yr3b2", second.position)
        assert [(one.part, one.wore) for one in found] == [(boat, ()), (coat, (past,))]
        assert found[0].locks == (now,)
        assert {one.part for one in look_up(series, "YR3B2", first.position)} == {boat, coat}

    @pytest.mark.parametrize("words", ["YR3B2", "b2r3y", "Y R3 B2", "coat YR3B2", "YR3B2 ada", "y r3 b2 coat"])
    def test_however_it_is_written_and_with_words_beside_it(self, series: Series, coat: Any, words: str) -> None:
        make_lock(coat, "YR3B2")
        make_lock(make_part(costume=coat.costume, name="lining"), "YR3")
        assert [one.part for one in look_up(series, words, LATEST)] == [coat]

    def test_a_withdrawn_lock_wears_nothing(self, series: Series, coat: Any) -> None:
        lock = make_lock(coat, "YR3B2")
        lock.withdrawn_at = timezone.now()
        lock.save()
        assert look_up(series, "YR3B2", LATEST) == []


class TestByColour:
    def test_a_red_coat_is_found_by_what_its_code_looks_like(self, series: Series, coat: Any, ada: Any) -> None:
        make_lock(coat, "YR")
        blue = make_part(costume=make_costume(ada, name="sea clothes"), name="coat")
        make_lock(blue, "B")
        assert [one.part for one in look_up(series, "red coat", LATEST)] == [coat]
        assert [one.part for one in look_up(series, "coat blue", LATEST)] == [blue]

    def test_a_name_that_says_so_itself_comes_first(self, series: Series, coat: Any) -> None:
        make_lock(coat, "YR")
        nan = make_part(costume=make_costume(make_subject(series, name="Red Nan"), name="rags"), name="hood")
        assert [one.part for one in look_up(series, "red", LATEST)] == [nan, coat]

    def test_only_what_is_locked_then_counts(self, series: Series, coat: Any) -> None:
        first, second = make_issues(series, 2)
        make_lock(coat, "YR", to_position=second.position)
        assert look_up(series, "red coat", first.position)
        assert look_up(series, "red coat", second.position) == []


class TestSlips:
    @pytest.mark.parametrize("words", ["ada caot", "adda coat", "ada coaat", "aada coat"])
    def test_one_slip_of_the_keys_is_read_and_told(self, series: Series, coat: Any, words: str) -> None:
        answer = answer_to(series, words, LATEST)
        assert [one.part for one in answer.found] == [coat]
        [(typed, meant)] = answer.read_as
        assert typed in words.split()
        assert meant in ("Ada", "coat")

    def test_what_fits_as_typed_is_not_read_otherwise(self, series: Series, coat: Any) -> None:
        boat = make_part(costume=make_costume(make_subject(series, name="Ark"), name="as drawn"), name="boat")
        answer = answer_to(series, "boat", LATEST)
        assert ([one.part for one in answer.found], answer.read_as) == ([boat], ())

    @pytest.mark.parametrize("words", ["cat", "ct", "trouser", "ada zzzz"])
    def test_short_words_and_far_ones_are_nobody(self, series: Series, coat: Any, words: str) -> None:
        assert answer_to(series, words, LATEST) == Answer([], answer_to(series, words, LATEST).terms)


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
