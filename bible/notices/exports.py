"""What other programs were told, as a table to take along."""

from __future__ import annotations

from collections.abc import Iterable

from bible.exports.tables import Table, about
from bible.models import Series, WebhookDelivery


def deliveries_table(series: Series, rows: Iterable[WebhookDelivery]) -> Table:
    lines = (
        (one.made_at, one.hook.url, one.kind, str(one.event_id), one.tries, one.status, one.state) for one in rows
    )
    return Table("webhook-log", ("at", "address", "event", "id", "tries", "status", "state"), lines, about(series))
