"""Taking things out of the bible. What is in use is not deleted but archived."""

from __future__ import annotations

from collections import Counter

from django.db import models, transaction
from django.db.models import ProtectedError
from django.utils import timezone

from bible.models import Issue, Part, Subject
from bible.services.refusals import Refused

Removable = Subject | Part | Issue


class InUse(Refused):
    """Something stands on it; ``uses`` counts what, by its name."""

    def __init__(self, what: models.Model, uses: Counter[str]) -> None:
        self.uses = uses
        told = ", ".join(f"{n} {name}" for name, n in sorted(uses.items()))
        super().__init__(f"{what} is in use: {told}. It can be archived instead; then nobody is offered it any more.")


@transaction.atomic
def delete_unused(*, thing: Removable) -> None:
    """Delete a subject (with its costumes and parts), a part or an issue that nothing else stands on.

    Raises:
        InUse: something does; nothing is deleted.
    """
    if isinstance(thing, Subject):
        for part in Part.objects.filter(costume__subject=thing):
            _delete(thing, part)
        for costume in thing.costumes.all():
            _delete(thing, costume)
    _delete(thing, thing)


def _delete(asked: Removable, row: models.Model) -> None:
    try:
        row.delete()
    except ProtectedError as error:
        raise InUse(asked, _uses(error)) from error


def _uses(error: ProtectedError) -> Counter[str]:
    uses: Counter[str] = Counter()
    for row in error.protected_objects:
        uses[str(row._meta.verbose_name)] += 1
    return Counter({f"{name}{'' if n == 1 else 's'}": n for name, n in uses.items()})


@transaction.atomic
def archive(*, thing: Removable, archived: bool = True) -> None:
    """Offer a subject, part or issue no longer, or again. Its history, locks and marks stay as they are."""
    thing.archived_at = timezone.now() if archived else None
    thing.save(update_fields=["archived_at"])
