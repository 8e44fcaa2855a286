"""One number for an issue's code list."""

from __future__ import annotations

import hashlib

from bible.models import Issue
from guides.handoff.exports import marks_csv
from guides.handoff.queries import issue_hand_off


def code_list(issue: Issue) -> str:
    """SHA-256 of the marks' CSV as the hand-off gives it: whoever holds that file can compare."""
    return hashlib.sha256(marks_csv(issue_hand_off(issue)).encode()).hexdigest()
