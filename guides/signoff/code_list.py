"""One number for an issue's code list."""

from __future__ import annotations

from bible.models import Issue
from bible.web.digest import WHOLE, digest
from guides.handoff.exports import marks_csv
from guides.handoff.queries import issue_hand_off


def code_list(issue: Issue) -> str:
    """SHA-256 of the marks' CSV as the hand-off gives it: whoever holds that file can compare."""
    return digest(marks_csv(issue_hand_off(issue)), WHOLE)
