"""Random sequences of edits, after each of which what is stored must be what follows from scratch.

The machine makes every kind of write the application knows, in any order hypothesis thinks of, and asks after
every step: do the resolved expectations equal the plain derivation, and is the flag query what the rules say?
"""

from __future__ import annotations

import os

import pytest
from hypothesis import HealthCheck, settings
from hypothesis.stateful import (
    run_state_machine_as_test,
)

from tests.guides.core.machine_bible import BibleDeeds
from tests.guides.core.machine_pages import PageDeeds

EXAMPLES = int(os.environ.get("MACHINE_EXAMPLES", "15"))
STEPS = 30
"""Enough to find a missing re-resolve within seconds; MACHINE_EXAMPLES asks for a longer hunt."""


class Machine(BibleDeeds, PageDeeds):
    """Both, in any order."""


@pytest.mark.django_db
def test_any_sequence_of_edits_leaves_the_resolved_equal_to_the_derived() -> None:
    run_state_machine_as_test(
        Machine,
        settings=settings(
            max_examples=EXAMPLES,
            stateful_step_count=STEPS,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
