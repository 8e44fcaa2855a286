"""A page whose marks are carried to a new scan."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from django.contrib.auth.models import User

from bible.models import Series
from guides.models import Carry, Guide
from guides.uploads.carrying import CarriedMark, Plan, carry_marks, foresee
from tests.factories import make_guide, make_issue, make_revision

FRACTIONS = Carry.Way.FRACTIONS


def make_old(series: Series, by: User) -> Guide:
    """The scan that the marks stand on."""
    return make_guide(make_issue(series), page="7", by=by, colourist=by)


def carried(old: Guide, by: User, **plan: Any) -> tuple[Guide, Carry]:
    """A new scan with the marks of the old one at the same fractions, or as ``plan`` says otherwise."""
    guide = make_revision(old, colourist=old.colourist)
    return guide, carry_marks(guide=guide, plan=replace(foresee(guide, old, FRACTIONS), **plan), by=by)


def outside(plan: Plan) -> tuple[CarriedMark, ...]:
    first = replace(plan.moved[0], x=1.0, inside=False, why="falls outside the new scan")
    second = replace(plan.moved[1], why="the lines around it were not found again")
    return (first, second, *plan.moved[2:])
