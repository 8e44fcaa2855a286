"""What a series that has only begun lacks first, and where that is done: said wherever a page has nothing to show."""

from __future__ import annotations

from dataclasses import dataclass

from django.urls import reverse

from bible.models import Series
from bible.models.permissions import Permission, Rights
from guides.models import Guide, Mark


@dataclass(frozen=True, slots=True)
class NextStep:
    """``also`` is another way to the same, as words and address; without an address, ``words`` say who does it."""

    words: str
    address: str = ""
    also: tuple[str, str] | None = None


def next_step(series: Series, may: Rights) -> NextStep | None:
    """The first of subjects, issues, guides and marks that a series has none of; None where it has all of them."""
    at = series.slug
    if not series.subjects.active().exists():
        step = NextStep("Add a subject", reverse("new-subject", args=[at]), ("from a table", _bring(at, "bible")))
        return _if(may, Permission.EDIT_BIBLE, step, "A lead colourist adds the first subject.")
    newest = series.issues.latest_one()
    if newest is None:
        step = NextStep("Add an issue", reverse("new-issue", args=[at]), ("from a table", _bring(at, "issues")))
        return _if(may, Permission.KEEP_ISSUES, step, "A lead colourist or an editor adds the first issue.")
    if Mark.objects.live().filter(series=series).exists():
        return None
    first = Guide.objects.filter(series=series).current().newest_first().first()
    if first is None:
        step = NextStep(f"Upload guides for issue {newest.number}", reverse("upload", args=[at, newest.pk]))
        return _if(may, Permission.UPLOAD, step, "A colourist uploads the first guides.")
    step = NextStep(f"Mark {first} of issue {first.issue.number}", first.get_absolute_url())
    return _if(may, Permission.MARK, step, "A colourist marks the first page.")


def _bring(slug: str, table: str) -> str:
    return reverse(f"bring-{table}", args=[slug])


def _if(may: Rights, permission: Permission, step: NextStep, else_said: str) -> NextStep:
    return step if may[permission.name] else NextStep(else_said)
