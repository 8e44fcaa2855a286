"""Word is sent in the background."""

from __future__ import annotations

import time

from django.utils import timezone

from bible.models import Membership, NoticeChoice, Webhook, WebhookDelivery
from bible.notices import outgoing
from bible.notices.queries import how_for
from bible.notices.sending import send_word
from bible.series.refusals import Refused
from bible.tasks.backend import background
from bible.tasks.progress import Progress


class NotTaken(Exception):
    """The other program did not take it; it is tried again."""


@background(words="being told to who hears at once", priority=-5)
def tell_series(context: Progress, *, series_key: int) -> None:
    """Word of a series to everybody who wants it at once."""
    members = Membership.objects.filter(series=series_key).exclude(user__email="").select_related("user", "series")
    for member in members:
        if how_for(member) == NoticeChoice.How.AT_ONCE:
            send_word(membership=member)


@background(words="being told once a day", priority=-10)
def tell_member(context: Progress, *, membership: int) -> None:
    """The day's word to one member."""
    member = Membership.objects.select_related("user", "series").filter(pk=membership).first()
    if member is None or how_for(member) == NoticeChoice.How.NEVER:
        raise Refused("Nobody wants word here any more.")
    send_word(membership=member)


@background(words="being told to another program", seconds=60, tries=5, priority=-5)
def deliver(context: Progress, *, delivery: int) -> None:
    """One message to one program, signed anew at each try so that its moment is true."""
    message = WebhookDelivery.objects.select_related("hook").filter(pk=delivery).first()
    if message is None or not Webhook.objects.filter(pk=message.hook_id).heard().exists():
        raise Refused("Nobody hears it any more.")
    note = WebhookDelivery.objects.filter(pk=delivery).note
    envelope = {"secret": message.hook.secret, "timestamp": int(time.time()), "event": message.kind}
    try:
        status = outgoing.post(message.hook.url, message.body.encode(), **envelope)  # type: ignore[arg-type]
    except (OSError, Refused) as error:
        words = str(error) if isinstance(error, Refused) else type(error).__name__
        note(status=None, error=f"not sent: {words}"[:200])
        raise NotTaken(words) from error
    if not 200 <= status < 300:
        note(status=status, error="")
        raise NotTaken(f"It answered {status}.")
    note(status=status, error="", taken_at=timezone.now())
