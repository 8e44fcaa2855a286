"""Putting an issue in check, signing it off, opening it again. Keyword-only and atomic."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from bible.models import ActivityKind, Issue, Membership, Series, record
from bible.models.naming import name_of
from bible.models.permissions import Permission
from bible.series.holding import How, Rows, hold, hold_series
from bible.series.refusals import Refused
from guides.core import reopening
from guides.core.fingerprint import fingerprint
from guides.core.kept import keep
from guides.models import IssueStep
from guides.signoff.marks_digest import marks_digest
from guides.signoff.queries import points_of

if TYPE_CHECKING:
    from django.contrib.auth.models import User

Kind = IssueStep.Kind

_DEEDS = {
    Kind.IN_CHECK: ActivityKind.PUT_IN_CHECK,
    Kind.TAKEN_BACK: ActivityKind.OUT_OF_CHECK,
    Kind.SIGNED_OFF: ActivityKind.SIGNED_OFF,
}
"""What a step is called among what happened; opening again is written down where it happens."""


class IssueMoved(Refused):
    """What would be signed is not what was shown."""


class WordsMissing(Refused):
    """The step needs a reason in words, and none was given."""


def why_not(series: Series, membership: Membership) -> str:
    """Why a member may not sign; empty where they may. The editor signs; a lead only where nobody is editor."""
    editors = series.memberships.filter(role=Membership.Role.EDITOR).select_related("user")
    if membership.role == Membership.Role.EDITOR or (membership.may(Permission.LOCK) and not editors):
        return ""
    names = ", ".join(name_of(editor.user) for editor in editors)
    return f"The editor signs an issue off: {names}." if names else "Only an editor may sign an issue off."


@transaction.atomic
def put_in_check(*, issue: Issue, by: User, words: str = "") -> IssueStep:
    """Say that an issue is ready for the editor's eye."""
    issue = _hold(issue)
    if issue.state != Issue.State.OPEN:
        raise Refused(f"Issue {issue.number} is {issue.state.label} already.")
    return _step(issue, Kind.IN_CHECK, by, words, in_check_at=timezone.now())


@transaction.atomic
def withdraw(*, issue: Issue, by: User, words: str = "") -> IssueStep:
    """Take an issue out of check: there is work to do on it."""
    issue = _hold(issue)
    if issue.state != Issue.State.IN_CHECK:
        raise Refused(f"Issue {issue.number} is {issue.state.label}, not in check.")
    return _step(issue, Kind.TAKEN_BACK, by, words, in_check_at=None)


@transaction.atomic
def sign_off(*, issue: Issue, by: User, words: str = "", seen: str | None = None) -> IssueStep:
    """Sign an issue off as it is now, and keep what was true.

    Args:
        words: needed where something is open: why it goes out all the same.
        seen: ``Points.token`` of what the person looked at.

    Raises:
        Moved: something has changed since.
        Refused: it is signed off already, somebody else signs here, or words are missing.
    """
    issue = _hold(issue)
    if issue.signed_off_at:
        raise Refused(f"Issue {issue.number} is signed off already.")
    membership = issue.series.memberships.filter(user=by).first()
    if membership is None or (reason := why_not(issue.series, membership)):
        raise Refused(reason if membership else "Only an editor of this series may sign an issue off.")
    points, print_now = points_of(issue.series, issue), fingerprint(issue)
    if seen is not None and seen != points.token(print_now):
        raise IssueMoved("Something has changed since you looked. This is how it is now; nothing is signed yet.")
    if points.open and not words.strip():
        raise WordsMissing("Something is open: say why it goes out all the same. It is read years later.")
    facts = points.facts() | {"press": issue.press_name, "number": issue.number}
    step = IssueStep(facts=facts, fingerprint=print_now, code_list=marks_digest(issue))
    signed = _step(issue, Kind.SIGNED_OFF, by, words, step, signed_off_at=timezone.now())
    keep(signed)
    return signed


@transaction.atomic
def reopen(*, issue: Issue, by: User, words: str) -> None:
    """Take a sign-off back, with a reason."""
    if not words.strip():
        raise WordsMissing("Say why it is opened again: the record of the sign-off stays beside it.")
    issue = _hold(issue)
    if not reopening.reopen(series_id=issue.series_id, issues=[issue.pk], by=by, why=words, by_hand=True):
        raise Refused(f"Issue {issue.number} is not signed off.")


@transaction.atomic
def set_pages(*, issue: Issue, own: int | None, usual: int | None, by: User) -> None:
    """Say how many numbered pages this issue has (None: the usual number) and an issue usually has.

    The usual number touches nothing that is signed: a sign-off keeps the number it was held against.
    """
    issue = _hold(issue)
    if own != issue.own_pages:
        issue.own_pages = own
        issue.save(update_fields=["own_pages"])
        why = f"number of pages is {own or 'the usual one'} now"
        reopening.reopen(series_id=issue.series_id, issues=[issue.pk], by=by, why=why)
    Series.objects.filter(pk=issue.series_id).update(usual_pages=usual)


def _hold(issue: Issue) -> Issue:
    """Wait for every deed under way in the series, keep others waiting, and read anew what they left."""
    hold_series(issue.series_id)
    hold(Rows(Issue.objects.filter(pk=issue.pk), How.TO_CHANGE))
    return Issue.objects.select_related("series").get(pk=issue.pk)


def _step(
    issue: Issue, kind: Kind, by: User, words: str, step: IssueStep | None = None, **changed: object
) -> IssueStep:
    Issue.objects.filter(pk=issue.pk).update(**changed)
    step = step or IssueStep()
    step.series, step.issue, step.kind, step.by = issue.series, issue, kind, by
    step.words, step.at = words.strip(), timezone.now()
    step.save(force_insert=True)
    details = {"name": issue.number, "reason": step.words}
    record(_DEEDS[kind], series=issue.series, by=by, issue=issue, words=details)
    return step
