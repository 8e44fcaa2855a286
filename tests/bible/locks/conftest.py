"""What several modules of this room begin with."""

from __future__ import annotations

from typing import Any

import pytest

from bible import signals
from bible.models import Series
from tests.bible.locks.decided import Bench


@pytest.fixture
def bench(series: Series, lead: Any) -> Any:
    bench = Bench(series, lead)
    yield bench
    signals.expectation_changed.disconnect(bench._hear)
