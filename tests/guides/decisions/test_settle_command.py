"""``manage.py settle``: the guides' say as text, as JSON, and locked in a lead's name."""

from __future__ import annotations

import io
import json
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from bible.models import Lock, Series
from guides.core.services import place_marks
from tests.factories import make_guide, make_issues, make_lock, make_member, make_part

pytestmark = pytest.mark.django_db


@pytest.fixture
def coat(series: Series, lead: Any) -> Any:
    """YR up to issue 6, Y from there on, with one slip; and a hat with two marks that contradict each other."""
    coat, hat = make_part(series, name="coat"), make_part(series, name="hat")
    for number, issue in enumerate(make_issues(series, 12), 1):
        said = ["YR" if number < 7 else "Y"] * 3
        if number == 3:
            said[1] = "B"
        rows: list[Any] = [(0.5, 0.5, text, coat, "base") for text in said]
        if number == 1:
            rows += [(0.1, 0.1, "R", hat, "base"), (0.2, 0.2, "B", hat, "base")]
        place_marks(guide=make_guide(issue, by=lead), by=lead, rows=rows)
    return coat


def settle(*words: str) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    try:
        call_command("settle", *words, stdout=out, stderr=err)
    except SystemExit as leaving:
        return int(leaving.code or 0), out.getvalue(), err.getvalue()
    return 0, out.getvalue(), err.getvalue()


def test_reading_locks_nothing(series: Series, coat: Any) -> None:
    status, text, progress = settle(series.slug)
    assert status == 0
    assert "YR  issues 1 to 6: 17 marks, 1 odd" in text
    assert "Y  issues 7: 18 marks" in text
    assert "2 parts and roles read." in text
    assert "2 of 2 subjects" in progress
    assert not Lock.objects.exists()


def test_what_is_firm_is_locked_in_the_leads_name(series: Series, coat: Any, lead: Any) -> None:
    status, text, _ = settle(series.slug, "--lock", lead.username, "--json")
    said = json.loads(text)
    assert status == 0
    firm = [row for row in said["found"] if row["firm"]]
    assert said["locked"] == sum(len(row["locks"]) for row in firm) == Lock.objects.count()
    assert [lock.written for lock in Lock.objects.of(coat.pk, "base").standing().order_by("from_position")] == [
        "YR",
        "Y",
    ]
    assert set(Lock.objects.values_list("decided_by__username", flat=True)) == {lead.username}
    (row,) = [row for row in said["found"] if row["part"] == "coat"]
    assert row["locks"][0]["odd"] == [{"issue": "3", "page": row["locks"][0]["odd"][0]["page"], "code": "B"}]
    assert (row["locks"][1]["from"], row["locks"][1]["to"]) == ("7", None)
    assert json.loads(settle(series.slug, "--json")[1])["count"] == len(said["found"]) - len(firm)


def test_one_subject_only(series: Series, coat: Any) -> None:
    name = coat.costume.subject.name
    _, text, _ = settle(series.slug, "--subject", name.upper(), "--json")
    assert {row["subject"] for row in json.loads(text)["found"]} == {str(coat.costume.subject)}


def test_refusals(series: Series, coat: Any) -> None:
    make_member(series, "fill-in", username="fil")
    for words, says in [
        (["no-such"], "There is no series"),
        ([series.slug, "--subject", "Nobody"], "No marks of a “Nobody” wait"),
        ([series.slug, "--lock", "fil"], "fil is no lead colourist"),
    ]:
        with pytest.raises(CommandError, match=says):
            settle(*words)
        status, text, _ = settle(*words, "--json")
        assert status == 2
        assert says in json.loads(text)["error"]
    assert not Lock.objects.exists()


def test_nothing_waits(series: Series) -> None:
    make_lock(make_part(series), "Y")
    assert "0 parts and roles read." in settle(series.slug)[1]
