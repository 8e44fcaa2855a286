"""One number for everything that an issue's pages say and owe."""

from __future__ import annotations

import json
from typing import Any

from bible.colour.tints import Tint
from bible.models import Issue, Series
from bible.models.fields import NoTint
from bible.web.digest import WHOLE, digest
from guides.models import Guide, IssueStep, Mark

_VERSION = 1
"""Part of what is hashed: raised when other columns are."""

_COLUMNS = (
    "guide__page_order", "guide__page", "number", "x", "y", "written", "tint", "to_written", "to_tint", "to_x",
    "to_y", "role", "expected", "waived", "expected_to", "part_id", "scene_id",
)  # fmt: skip


def fingerprint(issue: Issue) -> str:
    """SHA-256 over the issue's current guides, and its live marks with what they owe, in page order.

    Parts and scenes stand in it by the order in which they first occur, not by their keys, so that a series brought
    back from its archive has the same fingerprints.
    """
    guides = Guide.objects.filter(issue=issue).current().order_by("page_order", "page")
    state: list[Any] = [_VERSION, list(guides.values_list("page", "revision", "sha256"))]
    known: list[dict[int | None, int]] = [{}, {}]
    marks = Mark.objects.filter(guide__issue=issue).live().order_by("page_order", "guide__page", "number")
    for *row, part, scene in marks.values_list(*_COLUMNS):
        places = [seen.setdefault(key, len(seen)) for seen, key in zip(known, (part, scene), strict=True)]
        if row[-1] == NoTint.FLAT:  # and then it says nothing: so it was before gradients were locked
            row.pop()
        state.append([value.packed if isinstance(value, Tint) else value for value in row] + places)
    return digest(json.dumps(state, ensure_ascii=False, separators=(",", ":")), WHOLE)


def broken(series: Series) -> list[Issue]:
    """Signed-off issues that are not what was signed any more: a second opinion on reopening, always empty."""
    changed = []
    for issue in series.issues.signed_off():
        record = IssueStep.objects.filter(issue=issue).signings().newest_first().first()
        if record is None or record.fingerprint != fingerprint(issue):
            changed.append(issue)
    return changed
