"""Show what a change would do, then save exactly what was shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

from django.db import transaction
from django.http import HttpRequest


class Consequences(Protocol):
    """What a deed would do. True where somebody has to see it first; ``token`` stands for exactly this answer."""

    @property
    def token(self) -> str: ...

    def __bool__(self) -> bool: ...


@dataclass(frozen=True, slots=True)
class Shown:
    """Consequences that wait for a yes. ``moved``: others were shown and agreed to, and they hold no longer."""

    impact: Consequences
    moved: bool


@transaction.atomic
def carry_out(
    request: HttpRequest,
    impact_of: Callable[[], Consequences],
    deed: Callable[[], Any],
    hold: Callable[[], object],
    *,
    always: bool = False,
) -> Shown | None:
    """Do the deed if its impact is the one that this request says was shown; else return what it would be now.

    A deed without consequences is done at once, unless others were shown before: then that is news too.

    Args:
        hold: holds what the deed will need first of all (``bible.series.holding``), so that nothing passes
            between counting and saving.
        always: much goes at once, so it is shown first also where no flag moves.

    Returns:
        None when the deed is done. Refusals come through.
    """
    hold()
    impact = impact_of()
    agreed = request.POST.get("shown", "")
    if (impact or always or agreed) and agreed != impact.token:
        return Shown(impact, moved=bool(agreed))
    deed()
    return None
