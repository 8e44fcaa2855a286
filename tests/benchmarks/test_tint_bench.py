"""A thousand codes through ``manage.py tint -``, start-up of the process included (bar: 2 s)."""

from __future__ import annotations

import random
import subprocess
import sys
from typing import Any

from django.conf import settings


def test_a_thousand_codes_from_a_cold_start(benchmark: Any) -> None:
    rng = random.Random(3)
    codes = "\n".join(" ".join(f"{ink}{rng.randint(0, 100)}" for ink in "CMYK") for _ in range(1000))
    command = [sys.executable, "manage.py", "tint", "-", "--press", "newsprint", "--json"]

    def ask() -> str:
        return subprocess.run(
            command, input=codes, capture_output=True, text=True, check=True, cwd=settings.BASE_DIR
        ).stdout

    told = benchmark.pedantic(ask, rounds=5, warmup_rounds=1)
    assert len(told.splitlines()) == 1000
