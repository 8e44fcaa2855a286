"""Show what a change would do, then save exactly what was shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.http import HttpRequest

from guides.impact import Impact


@dataclass(frozen=True, slots=True)
class Shown:
    """An impact that waits for a yes. ``moved``: another one was shown and agreed to, and it holds no longer."""

    impact: Impact
    moved: bool


@transaction.atomic
def carry_out(
    request: HttpRequest, impact_of: Callable[[], Impact], deed: Callable[[], Any], hold: Any = None
) -> Shown | None:
    """Do the deed if its impact is the one that this request says was shown, or if it has none; else return it.

    Args:
        hold: a queryset whose rows are locked first, so that no mark joins them between counting and saving.

    Returns:
        None when the deed is done. Refusals come through.
    """
    if hold is not None:
        list(hold.select_for_update().values_list("pk"))
    impact = impact_of()
    agreed = request.POST.get("shown", "")
    if impact and agreed != impact.token:
        return Shown(impact, moved=bool(agreed))
    deed()
    return None
