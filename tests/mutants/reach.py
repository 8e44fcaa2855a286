"""For the runs of ``python -m tests.mutants``, as a plugin of pytest: Hypothesis draws the same each time and forgives a
busy machine; where ``REACH_TO`` names a file, it is told which lines of the files in ``REACH_OF`` each test reaches, and
how long that takes.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from types import FrameType
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile("changes", deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
settings.load_profile("changes")

WATCHED = {str(Path(name).resolve()): name for name in os.environ.get("REACH_OF", "").split()}

_now: dict[str, set[int]] = defaultdict(set)
_told: dict[str, dict[str, Any]] = {}


def _line(frame: FrameType, event: str, arg: Any) -> Any:
    _now[frame.f_code.co_filename].add(frame.f_lineno)
    return _line


def _call(frame: FrameType, event: str, arg: Any) -> Any:
    return _line if frame.f_code.co_filename in WATCHED else None


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Iterator[None]:
    if not WATCHED:
        return (yield)
    _now.clear()
    began = time.monotonic()
    sys.settrace(_call)
    try:
        return (yield)
    finally:
        sys.settrace(None)
        lines = {WATCHED[path]: sorted(some) for path, some in _now.items()}
        _told[item.nodeid] = {"seconds": round(time.monotonic() - began, 3), "lines": lines}


def pytest_sessionfinish() -> None:
    if to := os.environ.get("REACH_TO"):
        Path(to).write_text(json.dumps(_told), encoding="utf-8")
