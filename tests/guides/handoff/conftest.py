"""An issue with everything that a hand-off has to say."""

from __future__ import annotations

from typing import Any

import pytest

from guides.core.waivers import waive
from guides.desk.page_notes import write_page_note
from guides.models import Mark, MarkNote
from tests.factories import make_costume, make_guide, make_issue, make_lock, make_mark, make_part, make_subject


@pytest.fixture
def marked_issue(series: Any, lead: Any) -> Any:
    """A cover and a page: agreeing, open, waived, unreadable, bare paper, background, a gradient, a note."""
    issue = make_issue(series, number="12", title="Low Water")
    cover = make_guide(issue, by=lead, page="cover")
    page = make_guide(issue, by=lead, page="3")
    coat = make_part(
        costume=make_costume(make_subject(series, name="Ada, the elder"), name="=work"), name="coat: left"
    )
    hull = make_part(series, name="hull")
    make_lock(coat, "YR3B2")
    make_lock(hull, "YB")
    make_mark(cover, "YR3B2", part=coat, x=0.1, y=1 / 3)
    make_mark(cover, "YB", part=coat, x=0.2, y=0.7)
    allowed = make_mark(cover, "YB", part=coat, x=0.123456789012345, y=0.5)
    make_mark(cover, "+Y 8 ?", part=hull)
    make_mark(cover, "W")
    make_mark(page, "YR", to_written="Y3R3", to=(0.75, 0.2), x=0.7, y=0.1)
    make_mark(page, "Y2R2", part=coat, role="shade")
    waive(marks=[Mark.objects.get(pk=allowed.pk)], reason="in disguise", by=lead)
    MarkNote.objects.create(series=series, mark=allowed, text="Mind the collar", written_by=lead)
    write_page_note(issue=issue, first_page="1", last_page="4", text="=All skin is night", by=lead)
    write_page_note(issue=issue, first_page="9", last_page="9", text="Not here", by=lead)
    return issue
