"""Letters: plain text, one thing a line, and where one says how often one wants them."""

from __future__ import annotations

from collections.abc import Iterable

from django.core import signing
from django.core.mail import EmailMessage
from django.urls import reverse

from bible.models import Activity, Membership
from bible.models.naming import name_of
from bible.notices.queries import OwnFlag, address_of_deed, sentence
from bible.web.addresses import whole
from bible.web.names import counted

FLAGS_IN_A_LETTER = 20
"""More than these are a number: a lock that changes opens hundreds."""

CONFIRM_FOR = 3 * 24 * 3600
"""Seconds in which the link that confirms an address works."""

_SALT = "bible.notices.address"


def letter(membership: Membership, deeds: Iterable[Activity], flags: list[OwnFlag]) -> EmailMessage:
    """What one member is told of one series."""
    series = membership.series
    deeds = list(deeds)
    lines = [f"{sentence(deed, series)}\n{address_of_deed(deed, series)}" for deed in deeds]
    if flags:
        lines.append(f"{counted(len(flags), 'new flag')} on your pages:")
        lines += [f"{flag.words}\n{whole(flag.url)}" for flag in flags[:FLAGS_IN_A_LETTER]]
        if len(flags) > FLAGS_IN_A_LETTER:
            lines.append(f"and {len(flags) - FLAGS_IN_A_LETTER} more: {whole(reverse('flags', args=[series.slug]))}")
    settings_page = whole(reverse("notices"))
    end = f"You get this because you work on {series.title}. How often, or never: {settings_page}"
    summary = [counted(len(deeds), "thing that concerns you", "things that concern you")] if deeds else []
    summary += [counted(len(flags), "new flag")] if flags else []
    subject = f"{series.title}: {', '.join(summary)}".replace("\n", " ")
    body = "\n\n".join([f"{name_of(membership.user)},", *lines, f"-- \n{end}"])
    headers = {"List-Unsubscribe": f"<{settings_page}>", "Auto-Submitted": "auto-generated"}
    return EmailMessage(subject, body, to=[membership.user.email], headers=headers)


def confirmation(user_pk: int, email: str) -> EmailMessage:
    """A letter to an address that somebody says is theirs: nothing else is sent there before they say so from it."""
    token = signing.dumps([user_pk, email], salt=_SALT)
    link = whole(reverse("confirm-address", args=[token]))
    body = (
        f"Somebody who signs in at {whole('/')} wants word sent to this address. If it was you, open\n{link}\n"
        "within three days. If not, do nothing: no more will come."
    )
    return EmailMessage("Is this your address?", body, to=[email], headers={"Auto-Submitted": "auto-generated"})


def confirmed(token: str, user_pk: int) -> str:
    """The address that a link confirms for this person; empty where it does not."""
    try:
        owner, email = signing.loads(token, salt=_SALT, max_age=CONFIRM_FOR)
    except (signing.BadSignature, ValueError, TypeError):
        return ""
    return str(email) if owner == user_pk else ""
