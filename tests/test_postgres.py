"""The same rules on PostgreSQL: what leans on the database runs there too, on a throw-away cluster."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.conftest import without_service
from tests.postgres import binaries, cluster

HOUSE = Path(__file__).parents[1]
LEANING_ON_THE_DATABASE = [
    "tests/bible/models/test_fields.py",
    "tests/bible/locks/test_guards.py",
    "tests/bible/series/test_services.py",
    "tests/guides/core/test_continuity.py",
    "tests/guides/core/test_continuity_machine.py",
    "tests/guides/core/test_services.py",
]
"""Fields, guards, services and what is expected of marks. Pages are left to the suite as it runs on PostgreSQL itself."""
FEW_HISTORIES = "3"
"""How many random histories the machine lives through here: fifteen run wherever the suite runs on PostgreSQL."""


@pytest.mark.postgres
@pytest.mark.backend("sqlite")  # elsewhere all tests run on PostgreSQL already
def test_the_same_rules_hold_on_postgresql() -> None:
    if binaries() is None:
        without_service("PostgreSQL")
    files = [name for name in LEANING_ON_THE_DATABASE if (HOUSE / name).exists()]
    with cluster() as url:
        environment = os.environ | {"DATABASE_URL": url, "PYTEST_ADDOPTS": "", "MACHINE_EXAMPLES": FEW_HISTORIES}
        run = subprocess.run(
            [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", *files],
            cwd=HOUSE,
            env=environment,
            capture_output=True,
            text=True,
        )
    assert run.returncode == 0, run.stdout[-6000:] + run.stderr[-2000:]
