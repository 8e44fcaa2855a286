"""What found codes are asked for: pages to look through, how often they were right."""

from __future__ import annotations

from django.db.models import Count, Exists, IntegerField, OuterRef, Subquery
from django.db.models.functions import Coalesce

from bible.models import Issue, Series
from guides.models import CodeSearch, FoundCode, Guide, GuideQuerySet


def to_search(series: Series, issue: Issue | None = None, *, again: bool = False) -> GuideQuerySet:
    """Current pages that nobody has looked through in today's way, in their order; all of them ``again``."""
    guides = Guide.objects.filter(series=series, issue__archived_at=None).current().in_order()
    guides = guides.select_related("series", "issue")
    if issue is not None:
        guides = guides.filter(issue=issue)
    done = CodeSearch.objects.of_today().filter(guide=OuterRef("pk"))
    return guides if again else guides.filter(~Exists(done))


def with_found(guides: GuideQuerySet) -> GuideQuerySet:
    """Guides with ``found_count``: how many of their codes were found and wait for a yes."""
    waiting = FoundCode.objects.waiting().filter(guide=OuterRef("pk")).order_by().values("guide")
    counted = Subquery(waiting.annotate(codes=Count("id")).values("codes"), output_field=IntegerField())
    return guides.annotate(found_count=Coalesce(counted, 0))


def that_propose(series: Series) -> GuideQuerySet:
    """Pages in work some of whose codes wait for a yes, with ``found_count``, newest issue first."""
    waiting = FoundCode.objects.waiting().filter(guide=OuterRef("pk"))
    pages = Guide.objects.filter(Exists(waiting), series=series, issue__archived_at=None).current().in_work()
    return with_found(pages).select_related("series", "issue").newest_first()
