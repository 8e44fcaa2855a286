"""Series made by machine have to be as true to themselves as those that people make."""

from __future__ import annotations

import json

import pytest
from django.core.management import CommandError, call_command

from bible.models import Series
from bible.models.bulk import write_rows
from guides.core import recounting
from guides.core.continuity import discrepancies
from guides.maintenance.made_history import Size, make_history
from guides.models import FlagKind, Guide, Mark
from tests.factories import make_member, make_series

pytestmark = pytest.mark.django_db

SMALL = Size(marks=600, issues=4, pages=5, subjects=6, parts_each=3, slips=0.1, shades=0.2, background=0.2)


def test_what_is_made_agrees_with_the_derivation_from_scratch() -> None:
    series = make_series()
    lead = make_member(series)
    parts = make_history(series=series, size=SMALL, by=lead, colourists=[lead])
    marks = Mark.objects.filter(series=series)
    assert (len(parts), marks.count(), Guide.objects.filter(series=series).count()) == (18, 600, 20)
    assert not list(discrepancies(series))
    assert not recounting.discrepancies(series)
    kinds = marks.open().kind_counts()
    assert kinds[FlagKind.DIFFERS] == sum(kinds.values()) > 0, (
        "every slip differs from a lock, nothing else is flagged"
    )
    assert marks.filter(part=None).exists()
    assert marks.filter(role="shade").exists()
    assert marks.filter(lock__to_position__isnull=False).exists(), "some codes change half-way"


def test_the_same_is_made_every_time() -> None:
    made = []
    for _ in range(2):
        series = make_series()
        make_history(series=series, size=SMALL, by=make_member(series))
        rows = Mark.objects.filter(series=series).order_by("id")
        made.append(list(rows.values_list("position", "page_order", "number", "x", "y", "role", "written", "tint")))
    assert made[0] == made[1]


def test_command(capsys: pytest.CaptureFixture[str]) -> None:
    call_command("make_history", marks=200, slug="tried", json=True)
    told = json.loads(capsys.readouterr().out)
    assert told["marks"] == Mark.objects.filter(series__slug="tried").count() == 200
    lead = Series.objects.get(slug="tried").memberships.leads().get().user
    assert not lead.has_usable_password()
    with pytest.raises(CommandError, match="already exists"):
        call_command("make_history", marks=200, slug="tried")
    with pytest.raises(CommandError, match="cannot be made"):
        call_command("make_history", marks=0)


def test_rows_of_no_length_are_no_trouble() -> None:
    write_rows(Mark, ["id"], [])
    assert not Mark.objects.exists()
