"""``manage.py check SERIES``: a script can stand on its exit status and its JSON."""

from __future__ import annotations

import io
import json
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from bible.models import Series
from bible.models.stretches import Stretch
from bible.subjects.wearing import set_worn
from guides.models import Mark
from guides.signoff.services import sign_off
from tests.factories import make_guide, make_issues, make_lock, make_mark, make_part

pytestmark = pytest.mark.django_db


def check(*words: str) -> tuple[int, str]:
    """Exit status and what was printed."""
    out = io.StringIO()
    try:
        call_command("check", *words, stdout=out)
    except SystemExit as leaving:
        return int(leaving.code or 0), out.getvalue()
    return 0, out.getvalue()


def as_json(*words: str) -> tuple[int, Any]:
    status, text = check(*words, "--json")
    return status, json.loads(text)


@pytest.fixture
def story(series: Series) -> Series:
    """One flag of each kind in issue 1, one that differs in issue 2."""
    first, second = make_issues(series, 2)
    coat, hat, old = make_part(series, name="coat"), make_part(series, name="hat"), make_part(series, name="sash")
    make_lock(coat, "YR3B2")
    set_worn(costume=old.costume, worn=[Stretch(second.position, None)])
    guide = make_guide(first, page="7a")
    make_mark(guide, "YR3B2", part=coat)
    make_mark(guide, "y r b2", part=coat)
    make_mark(guide, "YR4", part=coat)
    make_mark(guide, "YR", part=hat, role="shade")
    make_mark(guide, "YR", part=old)
    make_mark(guide, "scrawl")
    make_mark(make_guide(second, page="cover"), "W", part=coat)
    return series


def test_every_kind_is_printed_with_what_was_expected(story: Series) -> None:
    status, told = as_json(story.slug)
    assert status == 1
    assert told["count"] == len(told["flags"]) == 5
    wanted = {"issue", "page", "mark", "kind", "subject", "part", "role", "written", "expected", "delta_e"}
    assert all(wanted <= set(flag) for flag in told["flags"])
    rows = [(f["issue"], f["page"], f["mark"], f["kind"], f["part"], f["role"]) for f in told["flags"]]
    assert rows == [
        ("1", "7a", 2, "differs", "coat", "base"),
        ("1", "7a", 3, "unreadable", "coat", "base"),
        ("1", "7a", 4, "no-lock", "hat", "shade"),
        ("1", "7a", 5, "out-of-use", "sash", "base"),
        ("2", "cover", 1, "differs", "coat", "base"),
    ]
    differs, unreadable, no_lock, out_of_use, _ = told["flags"]
    assert (differs["written"], differs["expected"]) == ("y r b2", "YR3B2")
    assert differs["delta_e"] > 0
    assert (unreadable["written"], unreadable["expected"], unreadable["delta_e"]) == ("YR4", "YR3B2", None)
    assert no_lock["expected"] is out_of_use["expected"] is None


def test_one_issue_alone(story: Series) -> None:
    status, told = as_json(story.slug, "--issue", "2")
    assert (status, told["count"]) == (1, 1)


def test_nothing_flagged_is_status_nought(story: Series) -> None:
    Mark.objects.update(live=False)
    assert as_json(story.slug) == (0, {"flags": [], "count": 0, "waived": 0})
    assert check(story.slug) == (0, "0 flags.\n")


def test_for_people_a_line_each(story: Series) -> None:
    status, text = check(story.slug)
    assert status == 1
    lines = text.splitlines()
    assert len(lines) == 6
    assert lines[0].startswith("issue 1, page 7a, mark 2: ")
    assert "written y r b2, bible says YR3B2, ΔE00" in lines[0]
    assert lines[-1] == "5 flags."


@pytest.mark.parametrize("words", [("no-such",), ("slow-river", "--issue", "99"), ("slow-river", "another")])
def test_a_question_without_an_answer_is_status_two(story: Series, words: tuple[str, ...]) -> None:
    status, told = as_json(*words)
    assert status == 2
    assert told["error"]
    with pytest.raises(CommandError) as refusal:
        check(*words)
    assert refusal.value.returncode == 2


def test_verify_finds_what_was_tampered_with(story: Series) -> None:
    assert as_json(story.slug, "--verify") == (0, {"discrepancies": [], "count": 0, "not_as_signed": []})
    mark = Mark.objects.filter(live=True, part__name="coat").earliest("pk")
    Mark.objects.filter(pk=mark.pk).update(expected=0)
    status, told = as_json(story.slug, "--verify")
    assert (status, told["count"], told["discrepancies"][0]["mark_id"]) == (1, 1, mark.pk)
    assert check(story.slug, "--verify")[0] == 1


@pytest.mark.parametrize("words", [(), ("bible",), ("bible", "guides")])
def test_without_a_series_it_is_the_frameworks_own_check(words: tuple[str, ...]) -> None:
    status, text = check(*words)
    assert status == 0
    assert "no issues" in text


def test_thirty_flags_ask_the_database_no_more_than_three(story: Series) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as asked:
            check(story.slug, "--json")
        return len(asked)

    few = queries()
    for _ in range(27):
        make_mark(make_guide(story.issues.get(number="1")), "W", part=make_part(story))
    assert queries() == few


def test_an_issue_that_is_not_what_was_signed_is_told(story: Series, lead: Any) -> None:
    sign_off(issue=story.issues.get(number="2"), by=lead, words="as it is")
    assert check(story.slug, "--verify")[0] == 0
    Mark.objects.filter(guide__issue__number="2", series=story).update(x=0.125)  # behind the services' back
    assert as_json(story.slug, "--verify") == (1, {"discrepancies": [], "count": 0, "not_as_signed": ["2"]})
    assert "issue 2 is signed off and is not what was signed" in check(story.slug, "--verify")[1]
