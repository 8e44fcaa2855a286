"""What found codes are asked for: pages to look through, how often they were right."""

from __future__ import annotations

from django.db.models import Exists, OuterRef

from bible.models import Issue, Series
from guides.models import CodeSearch, Guide, GuideQuerySet


def to_search(series: Series, issue: Issue | None = None, *, again: bool = False) -> GuideQuerySet:
    """Current pages that nobody has looked through in today's way, in their order; all of them ``again``."""
    guides = Guide.objects.filter(series=series, issue__archived_at=None).current().in_order()
    guides = guides.select_related("series", "issue")
    if issue is not None:
        guides = guides.filter(issue=issue)
    done = CodeSearch.objects.of_today().filter(guide=OuterRef("pk"))
    return guides if again else guides.filter(~Exists(done))
