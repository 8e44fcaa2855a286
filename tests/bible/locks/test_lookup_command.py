"""``manage.py lookup SERIES WORDS``."""

from __future__ import annotations

import io
import json
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from bible.models import Series
from tests.factories import make_costume, make_issues, make_lock, make_part, make_subject

pytestmark = pytest.mark.django_db


def lookup(*words: str) -> Any:
    out = io.StringIO()
    try:
        call_command("lookup", *words, "--json", stdout=out)
    except SystemExit as leaving:
        return leaving.code, json.loads(out.getvalue())
    return 0, json.loads(out.getvalue())


@pytest.fixture
def coat(series: Series) -> Any:
    _, second = make_issues(series, 2)
    part = make_part(costume=make_costume(make_subject(series, name="Ada Penn"), name="work coat"), name="coat")
    make_lock(part, "b2 y r3", reason="as in the first sketch")
    make_lock(part, "YR", from_position=second.position, reason="dyed")
    return part


def test_codes_as_of_the_latest_issue_or_another(series: Series, coat: Any) -> None:
    status, told = lookup(series.slug, "ada", "coat")
    assert (status, told["count"], told["as_of"]) == (0, 1, "2")
    assert told["found"] == [
        {
            "subject": "Ada Penn",
            "costume": "work coat",
            "part": "coat",
            "in_use": True,
            "locks": [{"role": "base", "code": "YR", "written": "YR", "reason": "dyed"}],
            "wore": [],
        }
    ]
    _, told = lookup(series.slug, "ada coat", "--issue", "1")
    assert told["as_of"] == "1"
    assert told["found"][0]["locks"][0]["code"] == "YR3B2"
    assert told["found"][0]["locks"][0]["written"] == "b2 y r3"


def test_by_code_it_says_who_wore_it(series: Series, coat: Any) -> None:
    _, told = lookup(series.slug, "rby3", "coat")
    assert told["count"] == 0
    _, told = lookup(series.slug, "YB2R3")
    assert told["found"][0]["wore"] == [{"role": "base", "code": "YR3B2", "when": "up to issue 1"}]
    out = io.StringIO()
    call_command("lookup", series.slug, "YR3B2", stdout=out)
    assert "Ada Penn, work coat: coat  base YR  (base YR3B2 up to issue 1)" in out.getvalue()


def test_a_slip_is_told(series: Series, coat: Any) -> None:
    _, told = lookup(series.slug, "caot")
    assert (told["count"], told["read_as"]) == (1, {"caot": "coat"})
    out = io.StringIO()
    call_command("lookup", series.slug, "caot", stdout=out)
    assert "Nothing is called “caot”; this is “coat”." in out.getvalue()


def test_nothing_found_is_an_answer(series: Series) -> None:
    assert lookup(series.slug, "nobody") == (0, {"as_of": None, "found": [], "count": 0, "read_as": {}})


@pytest.mark.parametrize("words", [("no-such", "coat"), ("slow-river", "coat", "--issue", "99")])
def test_a_question_without_an_answer_is_status_two(series: Series, coat: Any, words: tuple[str, ...]) -> None:
    status, told = lookup(*words)
    assert status == 2
    assert told["error"]
    with pytest.raises(CommandError) as refusal:
        call_command("lookup", *words)
    assert refusal.value.returncode == 2


def test_for_people_a_line_each(series: Series, coat: Any) -> None:
    out = io.StringIO()
    call_command("lookup", series.slug, "coat", stdout=out)
    assert out.getvalue() == "As of issue 2, the latest:\nAda Penn, work coat: coat  base YR\n"
