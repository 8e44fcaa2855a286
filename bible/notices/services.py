"""Sending word, and saying how one wants it. Keyword-only."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from django.db import transaction

from bible.models import LOG_SHOWN, Activity, Membership, NoticeChoice, Series, Webhook, WebhookDelivery
from bible.models.naming import name_of
from bible.notices.outgoing import read_address
from bible.notices.queries import TOLD, address_of_deed, how_for, sentence
from bible.notices.tasks import deliver, tell_series
from bible.series.refusals import Refused
from bible.tasks.services import enqueue

if TYPE_CHECKING:
    from django.contrib.auth.models import User

TOGETHER = dt.timedelta(minutes=1)
"""What is done within a minute comes in one letter: ten proposals are one piece of news."""

MOST_WEBHOOKS = 5
"""Programs a series tells; each deed is a message to each of them."""

How = NoticeChoice.How


def on_activity(sender: Any, instance: Activity, created: bool, **_: Any) -> None:
    """A deed was written down: in its transaction, ask for word of it."""
    if not created or instance.kind not in TOLD:
        return
    series = instance.series
    if NoticeChoice.objects.heard_at_once_in(series.pk).exists():
        enqueue(tell_series, key=f"word-{series.pk}", by=None, after=TOGETHER, afresh=True, series_key=series.pk)
    for hook in Webhook.objects.filter(series=series).heard():
        tell_program(hook=hook, kind=instance.kind, message=told_of(instance, series))


def told_of(deed: Activity, series: Series) -> dict[str, Any]:
    """A deed as other programs are told of it."""
    return {
        "series": series.slug,
        "event": deed.kind,
        "at": deed.at.isoformat(),
        "by": name_of(deed.by) if deed.by else None,
        "concerning": name_of(deed.person) if deed.person else None,
        "issue": deed.issue.number if deed.issue else None,
        "count": deed.count,
        "words": deed.words,
        "sentence": sentence(deed, series),
        "url": address_of_deed(deed, series),
    }


@transaction.atomic
def tell_program(*, hook: Webhook, kind: str, message: Mapping[str, Any]) -> WebhookDelivery:
    """Put a message in the log and have it sent; old ones leave the log."""
    delivery = WebhookDelivery(hook=hook, kind=kind)
    delivery.body = json.dumps({"id": str(delivery.event_id), **message}, ensure_ascii=False)
    delivery.save(force_insert=True)
    kept = WebhookDelivery.objects.filter(hook=hook).order_by("-id").values_list("pk", flat=True)[:LOG_SHOWN]
    if len(kept) == LOG_SHOWN:
        WebhookDelivery.objects.filter(hook=hook, pk__lt=min(kept)).delete()
    enqueue(deliver, key=f"hook-{delivery.pk}", by=None, delivery=delivery.pk)
    return delivery


@transaction.atomic
def choose(*, user: User, everywhere: str, by_series: Mapping[int, str]) -> None:
    """Say how one wants word: in general, and of single series (empty: as in general)."""
    NoticeChoice.objects.update_or_create(user=user, series=None, defaults={"how": everywhere})
    own = set(user.memberships.values_list("series", flat=True))
    for series, how in by_series.items():
        if series in own:
            NoticeChoice.objects.update_or_create(user=user, series_id=series, defaults={"how": how})


@transaction.atomic
def add_webhook(*, series: Series, url: str, by: User) -> Webhook:
    """Tell a program of what happens in the series from now on. ``Refused``: no such address, or too many."""
    read_address(url)
    if series.webhooks.count() >= MOST_WEBHOOKS:
        raise Refused(f"A series tells at most {MOST_WEBHOOKS} programs: remove one first.")
    return Webhook.objects.create(series=series, url=url, made_by=by)


@transaction.atomic
def renew_secret(*, hook: Webhook, by: User) -> Webhook:
    """Another secret; the old one signs nothing any more. Who renews it answers for what the program sees."""
    fresh = Webhook(series=hook.series, url=hook.url, made_by=by)
    Webhook.objects.filter(pk=hook.pk).update(salt=fresh.salt, made_by=by)
    return Webhook.objects.get(pk=hook.pk)


def due_today() -> list[Membership]:
    """Members who want word once a day."""
    members = Membership.objects.exclude(user__email="").select_related("user", "series").order_by("pk")
    return [member for member in members if how_for(member) == How.DAILY]
