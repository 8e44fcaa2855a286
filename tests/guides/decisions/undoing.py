"""A part locked in two stretches, marked and signed off: what decisions are undone on."""

from __future__ import annotations

from typing import Any

from bible.locks.services import lock_tint
from bible.locks.undoing import undo_decision
from bible.models import Lock, Series
from guides.core import continuity
from guides.core.fingerprint import broken
from guides.signoff.services import sign_off
from tests.factories import make_guide, make_issues, make_mark, make_member, make_part


class Bible:
    """A part locked in two stretches by somebody who has left since, marked in three issues, the first signed off."""

    def __init__(self, series: Series, lead: Any) -> None:
        self.series, self.lead = series, lead
        self.first = make_member(series, "lead", username="first-lead")
        self.editor = make_member(series, "editor", username="ed")
        self.issues = make_issues(series, 3)
        self.part = make_part(series)
        self.old = self.lock("YR", 0, by=self.first, reason="as ever")
        for issue in self.issues:
            make_mark(make_guide(issue, by=lead), "YR", part=self.part, by=lead)
        sign_off(issue=self.issues[0], by=self.editor, words="one page only")

    def lock(self, code: str, issue: int, *, by: Any = None, reason: str = "new coat", **more: Any) -> Lock:
        said: dict[str, Any] = {"part": self.part, "role": "base", "tint": self.series.read(code), "written": code}
        start = 0 if issue == 0 else self.issues[issue].position
        return lock_tint(**said, from_position=start, by=by or self.lead, reason=reason, **more)

    def said(self) -> list[tuple[Any, ...]]:
        """What stands: all that somebody could read of it, and not under which key."""
        fields = (
            "role",
            "tint",
            "written",
            "rule_data",
            "from_position",
            "to_position",
            "reason",
            "decided_by",
            "decided_at",
        )
        standing = Lock.objects.filter(series=self.series).standing().order_by("role", "from_position")
        return [tuple(map(str, row)) for row in standing.values_list(*fields)]

    @property
    def newest(self) -> Lock:
        return Lock.objects.filter(series=self.series).standing().latest("decided_at")

    def undo(self, lock: Lock | None = None) -> None:
        undo_decision(lock=lock or self.newest, by=self.lead, reason="the wrong coat")
        assert continuity.discrepancies(self.series) == []
        assert broken(self.series) == []
