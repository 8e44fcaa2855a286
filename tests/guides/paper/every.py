"""Every kind of PDF that leaves the house, asked for at its own address."""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import Any

from django.utils import timezone

from bible.models.permissions import MemberRole
from bible.series.running_order import AsOf
from guides.booklets.booklet_pdf import write_booklet
from guides.booklets.queries import make_book
from tests.pages import client_of
from tests.world import IN_SERIES, World, url

MADE: dict[str, bytes] = {}


def pdfs() -> Iterator[tuple[str, bytes]]:
    """Each kind by its address' name, of a series with one of everything."""
    world = World()
    client = client_of(world.people[MemberRole.LEAD])
    for address in IN_SERIES:
        arguments = world.arguments(address)
        if "form" in arguments and "pdf" in address.route:
            arguments["form"] = "pdf"
        elif not address.route.endswith(".pdf") or address.name == "booklet-file":
            continue
        answer: Any = client.get(url(address, world.series, arguments))
        assert answer.status_code == 200, address.name
        yield address.name, b"".join(answer.streaming_content) if answer.streaming else answer.content
    booklet = io.BytesIO()
    book = make_book(world.series, AsOf.of(world.series, ""), world.series.subjects.active())
    write_booklet(book, timezone.now(), booklet, lambda _: None)
    yield "booklet", booklet.getvalue()


def every_pdf() -> dict[str, bytes]:
    """Made once: files need no database any more."""
    if not MADE:
        MADE.update(pdfs())
    return MADE
