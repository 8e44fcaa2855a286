"""Pages of an issue that is signed, for tests of what a deed leaves."""

from __future__ import annotations

import io
from typing import Any

from django.utils import timezone

from bible.models import Issue
from guides.core.services import (
    add_guide,
)  # fmt: skip
from guides.imaging.intake.take_in import take_in
from guides.models import Guide
from tests.factories import (
    picture_bytes,
)  # fmt: skip


def signed(issue: Issue) -> None:
    Issue.objects.filter(pk=issue.pk).update(signed_off_at=timezone.now(), in_check_at=timezone.now())


def reopened(issue: Issue) -> str:
    return issue.steps.get(kind="reopened").words


def bring(issue: Issue, by: Any, page: str = "7", **more: Any) -> Guide:
    data = io.BytesIO(picture_bytes(120, 180))
    said: dict[str, Any] = {"picture": take_in(data, "p.jpg"), "original": data, "filename": "a/b/p.jpg", "by": by}
    return add_guide(issue=issue, page=page, **said | more)
