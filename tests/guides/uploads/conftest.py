"""What several modules of this room begin with."""

from __future__ import annotations

import pytest

from bible.models import Issue, Series
from tests.factories import make_issue


@pytest.fixture
def issue(series: Series) -> Issue:
    return make_issue(series)
