"""What several modules of this room begin with."""

from __future__ import annotations

from typing import Any

import pytest

from bible.models import Series
from guides.models import Guide, Mark
from tests.factories import make_guide, make_issue, make_issues, make_lock, make_mark, make_part


@pytest.fixture
def guide(series: Series, lead: Any) -> Guide:
    return make_guide(make_issue(series), page="7", by=lead)


@pytest.fixture
def issues(series: Series) -> list[Any]:
    return make_issues(series, 3)


@pytest.fixture
def part(series: Series, lead: Any) -> Any:
    part = make_part(series)
    make_lock(part, "YR", by=lead)
    return part


@pytest.fixture
def wrong(part: Any, issues: list[Any]) -> Mark:
    return make_mark(make_guide(issues[0], page="5"), "Y", part=part)
