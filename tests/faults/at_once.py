"""Rounds of one who marks and one who decides at the same moment: ``python tests/postgres.py python -m
tests.faults.at_once --rounds 1000``. Ends with 1 where the database had to break one of them off, where one kind of
deed never saved anything, or where what is stored is not what follows from scratch.
"""

from __future__ import annotations

# ruff: noqa: I001 (the house sets Django up, so it comes first)
import argparse
import logging
import random
import sys

from tests.faults import house

from django.core.management import call_command
from django.test.utils import setup_test_environment

from bible.models import Allowance
from tests.at_once import DECIDING, MARKING, Both
from tests.factories import make_guide, make_issues, make_lock, make_mark, make_member, make_part, make_series


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--rounds", type=int, default=1000)
    asked.add_argument("--pause", type=float, default=0.0, help="seconds after each hold, which widens every window")
    asked.add_argument("--seed", type=int, default=1)
    said = asked.parse_args()
    setup_test_environment()
    logging.disable(logging.WARNING)  # refusals in words are what these rounds are made of
    call_command("migrate", verbosity=0)
    series = make_series()
    lead, hand = make_member(series, "lead"), make_member(series, "fill-in")
    parts = [make_part(series) for _ in range(3)]
    for part in parts:
        make_lock(part, "YR3B2", by=lead)
    for issue in make_issues(series, 5):
        guide = make_guide(issue, by=lead)
        for part in parts:
            make_mark(guide, "Y", part=part, by=lead)
    both, choice = Both(series, hand, lead, pause=said.pause, seed=said.seed), random.Random(said.seed)
    for number in range(said.rounds):
        Allowance.objects.all().delete()  # nobody brings so many tables in by hand
        both.round(choice.choice(MARKING), choice.choice(DECIDING))
        if number % 100 == 99:
            print(f"{number + 1} rounds, {both.deadlocks} deadlocks", flush=True)
    for name, times in sorted(both.outcomes.items()):
        print(f"{name}: {times}")
    call_command("check", series.slug, "--verify")
    saved = {name.rpartition(": ")[0] for name in both.outcomes if name.endswith((": 200", ": 302"))}
    if unsaved := {*MARKING, *DECIDING} - saved:
        print(f"never saved: {', '.join(sorted(unsaved))}")
    return int(bool(both.deadlocks or unsaved))


if __name__ == "__main__":
    assert house
    sys.exit(main())
