"""A second printing in the demo: four issues in one volume on coated paper, where one code had to change."""

from __future__ import annotations

import datetime as dt

from django.contrib.auth.models import User
from django.db import transaction

from bible.editions.services import save_edition
from bible.locks.services import lock_tint
from bible.models import Edition, Lock, Series
from bible.models.roles import BASE_ROLE

ALBUM, PRESS = "First album", "web-coated-tr003"
COLLECTED = ("13", "14", "15", "16")
WHY = "On coated paper YR comes out far stronger than readers know it; Y3R prints nearest to the red of the issues."


@transaction.atomic
def print_an_album(series: Series, lead: User) -> None:
    """Once; a demo that has printings of its own is left alone, and so is one without these issues."""
    issues = list(series.issues.filter(number__in=COLLECTED).in_order())
    red = Lock.objects.filter(series=series, part__name="coat", part__costume__name="work coat", written="YR").first()
    if series.editions.exists() or len(issues) < len(COLLECTED) or red is None:
        return
    published, note = dt.date(1977, 10, 1), "The year of the red coat, for the book trade."
    album = Edition(series=series, name=ALBUM, press=PRESS, published=published, note=note)
    save_edition(edition=album, issues=issues, by=lead)
    lock_tint(
        part=red.part,
        role=BASE_ROLE,
        tint=series.read("Y3R"),
        written="Y3R",
        from_position=issues[0].position,
        by=lead,
        reason=WHY,
        edition=album,
    )
