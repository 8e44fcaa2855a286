"""What querysets of marks and guides say: each name does what it says and no more."""

from __future__ import annotations

import pytest

from bible.models import Series
from bible.models.fields import NoTint
from guides.core.services import place_marks
from guides.models import Agreement, FlagKind, Guide, Mark
from tests.factories import make_guide, make_issue, make_issues, make_lock, make_mark, make_part

pytestmark = pytest.mark.django_db


def test_guides_are_read_in_order_with_their_counts(series: Series) -> None:
    first, second = make_issues(series, 2)
    part = make_part(series)
    for issue, page in ((second, "1"), (first, "10"), (first, "cover"), (first, "2")):
        guide = make_guide(issue, page=page)
        make_mark(guide, "Y", part=part)
        make_mark(guide, "Y")
    make_guide(first, page="2", revision=0, is_current=False)
    found = list(Guide.objects.current().with_counts().in_order())
    assert [(guide.issue, guide.page) for guide in found] == [
        (first, "cover"),
        (first, "2"),
        (first, "10"),
        (second, "1"),
    ]
    assert {(vars(guide)["mark_count"], vars(guide)["flag_count"]) for guide in found} == {(2, 1)}
    assert Guide.objects.current().counts_by_issue() == {first.pk: 3, second.pk: 1}


@pytest.mark.parametrize(("page", "said"), [("7", "page 7"), ("14a", "page 14a"), ("cover", "cover")])
def test_a_guide_is_called_as_people_say_it(series: Series, page: str, said: str) -> None:
    assert str(make_guide(make_issue(series), page=page)) == said


def test_what_a_mark_says_of_itself_is_what_the_queries_say(series: Series) -> None:
    part = make_part(series)
    make_lock(part, "YR3B2")
    guide = make_guide(make_issue(series))
    codes = ["YR3B2", "YR", "??"]
    rows = [(0.5, 0.5, code, whose, role) for code in codes for whose in (part, None) for role in ("base", "shade")]
    place_marks(guide=guide, by=guide.uploaded_by, rows=rows)
    for kind in FlagKind:
        by_query = set(Mark.objects.flagged().of_kind(kind))
        assert by_query == {mark for mark in Mark.objects.all() if mark.flag_kind is kind}
    flagged = set(Mark.objects.flagged())
    for mark in Mark.objects.all():
        assert (mark.agreement is Agreement.FLAGGED) == (mark in flagged)
        assert (mark.agreement is Agreement.BACKGROUND) == (mark.part is None)
    Mark.objects.filter(guide=guide).update(live=False)
    told = {mark.agreement for mark in Mark.objects.filter(part=part)}
    assert told == {Agreement.NOT_COMPARED}, "of an older revision, an archived issue or deleted"
    assert set(Mark.objects.background()) == {mark for mark in Mark.objects.all() if mark.part is None}


def test_keys_split_the_order_in_two_anywhere(series: Series) -> None:
    for issue in make_issues(series, 2):
        for page in ("1", "2"):
            guide = make_guide(issue, page=page)
            for _ in range(3):
                make_mark(guide)
    every = list(Mark.objects.in_order())
    for n, mark in enumerate(every):
        assert list(Mark.objects.after(mark.sort_key).in_order()) == every[n + 1 :]


def test_counts_by_position_and_newest_first(series: Series) -> None:
    first, second = make_issues(series, 2)
    old, new = make_mark(make_guide(first)), make_mark(make_guide(second))
    make_mark(new.guide)
    assert Mark.objects.counts_by_position() == {first.position: 1, second.position: 2}
    assert list(Mark.objects.newest_first())[-1] == old


def test_pairs_are_few_however_many_the_marks(series: Series) -> None:
    part = make_part(series)
    lock = make_lock(part, "YR3B2")
    guide = make_guide(make_issue(series))
    rows = [(0.5, 0.5, ("YR", "W")[n % 2], part, "base") for n in range(20)]
    place_marks(guide=guide, by=guide.uploaded_by, rows=rows)
    pairs = Mark.objects.flagged().pairs()
    assert sorted(pairs, key=lambda pair: pair[0].packed) == sorted(
        [(series.read("YR"), lock.tint), (series.read("W"), lock.tint)], key=lambda pair: pair[0].packed
    )
    assert Mark.objects.with_flags_in(pairs[:1], []).count() == 10
    assert Mark.objects.with_flags_in([], []).count() == 0


@pytest.mark.backend("sqlite")  # PostgreSQL reads so small a table whole
def test_flags_of_a_series_are_counted_from_the_partial_index(series: Series) -> None:
    plan = Mark.objects.filter(series=series).flagged().order_by().values("pk").explain()
    assert "guides_mark_flagged" in plan
    assert Mark._meta.get_field("expected").null is False, "with NULL the index no longer matches the question"


def test_a_new_mark_expects_nothing_yet() -> None:
    assert Mark().expected == NoTint.NO_LOCK
