"""What other programs were told, as a table to take along."""

from __future__ import annotations

from collections.abc import Iterable

from bible.exports.tables import Table, about
from bible.models import Series, WebhookDelivery


def deliveries_table(series: Series, rows: Iterable[WebhookDelivery]) -> Table:
    lines = (
        (
            delivery.made_at,
            delivery.hook.url,
            delivery.kind,
            str(delivery.event_id),
            delivery.tries,
            delivery.status,
            delivery.state,
        )
        for delivery in rows
    )
    return Table("webhook-log", ("at", "address", "event", "id", "tries", "status", "state"), lines, about(series))
