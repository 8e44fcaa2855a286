"""One number for the marks of an issue as they are handed off."""

from __future__ import annotations

from bible.models import Issue
from bible.web.digest import WHOLE, digest
from guides.handoff.exports import marks_csv
from guides.handoff.queries import issue_hand_off


def marks_digest(issue: Issue) -> str:
    """SHA-256 of the marks' CSV as the hand-off gives it: whoever holds that file can compare."""
    return digest(marks_csv(issue_hand_off(issue)), WHOLE)
