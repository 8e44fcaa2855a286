"""A scan that comes in through the service everybody uses."""

from __future__ import annotations

import io
from typing import Any

from bible.models import Issue
from guides.core.services import add_guide
from guides.imaging.intake.take_in import take_in
from guides.models import Guide
from tests.factories import picture_bytes


def bring_page(issue: Issue, page: str, *, by: Any, colourist: Any = None) -> Guide:
    scan = io.BytesIO(picture_bytes())
    picture = take_in(scan, "page.jpg")
    return add_guide(
        issue=issue, page=page, picture=picture, original=scan, filename="page.jpg", by=by, colourist=colourist
    )
