"""A pack as it is told of: its number, and what has changed since the one before. ``packing`` makes them."""

from __future__ import annotations

from dataclasses import dataclass

from bible.models.naming import name_of
from bible.web.names import counted
from guides.core.kept import MarkChange
from guides.models import IssueStep


@dataclass(frozen=True, slots=True)
class Pack:
    """Which pack of an issue this is, ``made`` by that step, or would be; what has changed in it ``since`` the one
    before, if there was one."""

    number: int
    made: IssueStep | None
    since: IssueStep | None
    changes: tuple[MarkChange, ...] = ()
    scans: tuple[str, ...] = ()
    """Pages whose scan is another one."""

    @property
    def changes_said(self) -> str:
        """“7 changes since pack 1 of 12 March 2026, by Thea Vane”; of a first pack nothing."""
        if self.since is None:
            return ""
        changes = [counted(len(self.changes), "change")] if self.changes else []
        changes += [f"other scans ({', '.join(self.scans)})"] if self.scans else []
        what = " and ".join(changes) or "another word beside the marks, which are the same"
        return f"{what} since {self.before_said}"

    @property
    def before_said(self) -> str:
        """“pack 1 of 12 March 2026, by Thea Vane”."""
        assert self.since
        return f"pack {self.since.facts['pack']} of {self.since.at:%-d %B %Y}, by {name_of(self.since.by)}"

    @property
    def words(self) -> str:
        """“Pack 2: 7 changes since …”."""
        if self.made:
            return f"Pack {self.number}: {self.changes_said or 'the first one'}"
        return f"Not handed off yet: {self.changes_said}" if self.since else "Not handed off yet"
