"""What archives from before say in other columns than today's tables have."""

from __future__ import annotations

from typing import Any

from django.db.models import Exists, OuterRef, Subquery

from bible.models import Costume, CostumeStretch, Series
from bible.models.fields import NoTint
from guides.archive.check import Archive, DamagedArchive
from guides.archive.tables import BY_MODEL
from guides.models import Mark, Waiver

LAST_POSITION = 2**31 - 1


class OneTime:
    """A costume had one time, in two columns of its own; it is a stretch now."""

    table = BY_MODEL["bible.Costume"]

    def __init__(self, archive: Archive) -> None:
        self.is_older = BY_MODEL["bible.CostumeStretch"].member not in archive.members
        self.found: list[tuple[int, int, int | None]] = []

    def take_out(self, lines: list[tuple[int, dict[str, Any]]]) -> None:
        """Take the old columns out of rows of the costumes' table; what says something is kept for ``save``."""
        for number, row in lines if self.is_older else ():
            begins, ends = row.pop("from_position", 0), row.pop("to_position", None)
            if (begins, ends) == (0, None):
                continue
            if not (_is_position(begins) and (ends is None or (_is_position(ends) and ends > begins))):
                raise DamagedArchive(f"{self.table.member}, line {number}: {begins!r} to {ends!r} is no time.")
            self.found.append((row.get("id", 0), begins, ends))

    def save(self, first: int) -> None:
        """Once the costumes are there; ``first``: the key that the archive's first costume has here."""
        keys = {costume: first - 1 + costume for costume, _, _ in self.found}
        there = set(Costume.objects.filter(pk__in=keys.values()).values_list("pk", flat=True))
        CostumeStretch.objects.bulk_create(
            CostumeStretch(costume_id=keys[costume], from_position=begins, to_position=ends)
            for costume, begins, ends in self.found
            if keys[costume] in there
        )


def say_what_waived_marks_fade_to(series: Series) -> None:
    """A waiver did not say what its mark fades to; one that stands was given for what the mark says."""
    faded = Mark.objects.filter(pk=OuterRef("mark"), to_tint__isnull=False)
    standing = Waiver.objects.filter(Exists(faded), series=series, died_at=None, fades_to=NoTint.FLAT)
    standing.update(fades_to=Subquery(faded.values("to_tint")[:1]))


def _is_position(value: Any) -> bool:
    return type(value) is int and 0 <= value <= LAST_POSITION
