"""One who turned out to be two names: what the lead had begun as a subject of his own was Silas in disguise."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.models import User
from django.db import transaction

from bible.locks.services import lock_tint
from bible.models import Costume, Part, Series, Subject
from guides.regrouping.services import merge_subjects

DISGUISE, WEARER = "fishmonger", "Silas Crake"
SEEN_FROM, SEEN_UNTIL = 6000, 9000
"""Places in the running order between which nobody knew who it was."""


@transaction.atomic
def merge_the_fishmonger(series: Series, lead: User) -> None:
    """Once; a demo that has it already is left alone."""
    wearer = series.subjects.filter(name=WEARER).first()
    if wearer is None or series.regroupings.exists():
        return
    stranger = Subject.objects.create(series=series, name="The new fishmonger", note="Who is he? He counts a lot.")
    costume = Costume.objects.create(subject=stranger, name=DISGUISE)
    costume.stretches.create(from_position=SEEN_FROM, to_position=SEEN_UNTIL)
    part = Part.objects.create(costume=costume, name="jersey")
    terms: dict[str, Any] = {
        "part": part,
        "role": "base",
        "from_position": SEEN_FROM,
        "to_position": SEEN_UNTIL,
        "by": lead,
    }
    lock_tint(**terms, tint=series.read("W"), written="W", reason="As first seen.")
    merge_subjects(source=stranger, target=wearer, by=lead, reason="Issue 8 tells that it was Silas all along.")
