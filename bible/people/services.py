"""Who belongs to a series: inviting, joining, changing roles, leaving."""

from __future__ import annotations

import datetime as dt
import secrets
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from bible.models import ActivityKind, Invitation, Membership, ReadToken, SecondFactor, Series, hashed, record
from bible.models.naming import name_of
from bible.series.edits import save_edit
from bible.series.holding import hold_reading, hold_series
from bible.series.refusals import Refused

if TYPE_CHECKING:
    from django.contrib.auth.models import User

INVITATION_TIME = dt.timedelta(days=7)
TOKEN_BYTES = 32
READ_TOKEN_TIME = dt.timedelta(days=365)
"""A key that nobody thinks of any more stops opening by itself."""
MOST_READ_TOKENS = 20


@transaction.atomic
def invite(*, series: Series, role: str, meant_for: str = "", by: User) -> tuple[Invitation, str]:
    """Make a link into a series. Returns the invitation and its token, which is stored nowhere."""
    token = secrets.token_urlsafe(TOKEN_BYTES)
    invitation = Invitation.objects.create(
        series=series,
        role=role,
        meant_for=meant_for,
        token_hash=hashed(token),
        invited_by=by,
        expires_at=timezone.now() + INVITATION_TIME,
    )
    words = {"name": meant_for, "role": invitation.get_role_display()}
    record(ActivityKind.INVITED, series=series, by=by, words=words)
    return invitation, token


@transaction.atomic
def accept_invitation(*, invitation: Invitation, by: User) -> Membership:
    """Join a series. The invitation is used up, even if two people follow the same link at once."""
    invitation = Invitation.objects.select_for_update().select_related("series").get(pk=invitation.pk)
    if invitation.state != "open":
        raise Refused(f"This invitation is {invitation.state}. Ask for a new one.")
    if Membership.objects.filter(series=invitation.series, user=by).exists():
        raise Refused(
            f"{name_of(by)} belongs to {invitation.series} already."
            " The link stays open for the person it is meant for."
        )
    invitation.accepted_by, invitation.accepted_at = by, timezone.now()
    invitation.save(update_fields=["accepted_by", "accepted_at"])
    joined = Membership.objects.create(series=invitation.series, user=by, role=invitation.role)
    words = {"role": joined.get_role_display()}
    record(ActivityKind.JOINED, series=invitation.series, by=by, person=invitation.invited_by, words=words)
    return joined


@transaction.atomic
def withdraw_invitation(*, invitation: Invitation) -> None:
    invitation = Invitation.objects.select_for_update().get(pk=invitation.pk)
    if invitation.accepted_at:
        raise Refused("Somebody has come in by this link already; remove the person instead.")
    invitation.withdrawn_at = timezone.now()
    invitation.save(update_fields=["withdrawn_at"])


@transaction.atomic
def change_role(*, membership: Membership, role: str, by: User | None = None) -> Membership:
    membership = _hold(membership)
    was = membership.get_role_display()
    if role != Membership.Role.LEAD:
        _keep_a_lead(membership, "Make somebody else lead colourist first")
    membership.role = role
    membership.save(update_fields=["role"])
    words = {"was": was, "role": membership.get_role_display()}
    if words["was"] != words["role"]:
        record(ActivityKind.ROLE_CHANGED, series=membership.series, by=by, person=membership.user, words=words)
    return membership


@transaction.atomic
def ask_leads(*, series: Series, by: User) -> None:
    """Save whether leads need a second factor. Who asks for it has one: else nobody could ask otherwise again."""
    if series.leads_need_second_factor and not SecondFactor.objects.filter(user=by).exists():
        raise Refused(
            "Set up a second factor for yourself first, under your account: it will be asked of you as well."
        )
    save_edit(row=series, fields=["leads_need_second_factor"], by=by)


@transaction.atomic
def remove_member(*, membership: Membership, by: User | None = None) -> None:
    """Shut a series to somebody. What they decided and wrote stays, with their name."""
    membership = _hold(membership)
    _keep_a_lead(membership, "Make somebody else lead colourist before this one goes")
    record(ActivityKind.LEFT, series=membership.series, by=by, person=membership.user)
    membership.delete()


def _hold(membership: Membership) -> Membership:
    """Everybody who changes people of a series waits here, so that two leads cannot remove each other."""
    hold_series(membership.series_id)
    return Membership.objects.select_related("user", "series").get(pk=membership.pk)


def _keep_a_lead(membership: Membership, advice: str) -> None:
    others = membership.series.memberships.leads().exclude(pk=membership.pk)
    if membership.role == Membership.Role.LEAD and not others.exists():
        raise Refused(f"{name_of(membership.user)} is the only lead colourist of {membership.series}. {advice}.")


@transaction.atomic
def make_read_token(*, membership: Membership, name: str, may_write: bool = False) -> tuple[ReadToken, str]:
    """Let a program read the series in this person's name, or write there too. Returns the row and the token, which
    is stored nowhere."""
    hold_reading(membership.series_id)
    Membership.objects.select_for_update().get(pk=membership.pk)
    if membership.read_tokens.usable().count() >= MOST_READ_TOKENS:
        raise Refused(f"You have {MOST_READ_TOKENS} tokens here: withdraw one first.")
    token = secrets.token_urlsafe(TOKEN_BYTES)
    made = ReadToken.objects.create(
        membership=membership,
        name=name,
        may_write=may_write,
        token_hash=hashed(token),
        expires_at=timezone.now() + READ_TOKEN_TIME,
    )
    return made, token


def withdraw_read_token(*, token: ReadToken) -> None:
    ReadToken.objects.filter(pk=token.pk, withdrawn_at=None).update(withdrawn_at=timezone.now())
