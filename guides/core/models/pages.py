"""Page guides."""

from __future__ import annotations

from typing import Self

from django.conf import settings
from django.contrib.auth.base_user import AbstractBaseUser
from django.db import models
from django.db.models import Q
from django.urls import reverse

from bible.models import Issue, Series
from guides.core.models.conditions import flagged_condition

PAGE_LABEL_LENGTH = 30


class GuideQuerySet(models.QuerySet["Guide"]):
    def current(self) -> Self:
        return self.filter(is_current=True)

    def in_order(self) -> Self:
        return self.order_by("issue__position", "page_order", "page")

    def newest_first(self) -> Self:
        return self.order_by("-issue__position", "page_order", "page")

    def in_work(self) -> Self:
        """Pages of issues that are neither signed off nor archived."""
        return self.filter(issue__signed_off_at=None, issue__archived_at=None).select_related("issue")

    def of_colourist(self, user: AbstractBaseUser) -> Self:
        return self.filter(colourist=user)

    def counts_by_issue(self) -> dict[int, int]:
        return dict(self.order_by().values_list("issue_id").annotate(n=models.Count("id")))

    def with_counts(self) -> Self:
        """Adds ``mark_count``, ``flag_count`` (open) and ``waived_count``, of live marks."""
        live = Q(marks__live=True)
        return self.annotate(
            mark_count=models.Count("marks", filter=live),
            flag_count=models.Count("marks", filter=live & flagged_condition("marks__") & Q(marks__waived=False)),
            waived_count=models.Count("marks", filter=live & flagged_condition("marks__") & Q(marks__waived=True)),
        )


class Guide(models.Model):
    """The picture of one page of an issue. Revisions of a page are kept; one of them is current."""

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="guides")
    issue = models.ForeignKey(Issue, on_delete=models.PROTECT, related_name="guides")
    page = models.CharField("page", max_length=PAGE_LABEL_LENGTH, help_text="As printed: cover, 1, 14a.")
    page_order = models.PositiveIntegerField(default=0, editable=False)
    revision = models.PositiveIntegerField(default=1, editable=False)
    is_current = models.BooleanField(default=True, editable=False)
    colourist = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="guides_coloured",
    )
    original = models.FileField(max_length=200, editable=False)
    screen = models.FileField(max_length=200, editable=False)
    thumb = models.FileField(max_length=200, editable=False)
    filename = models.CharField(max_length=200, editable=False)
    sha256 = models.CharField(max_length=64, editable=False)
    byte_size = models.PositiveIntegerField(editable=False)
    width = models.PositiveIntegerField(editable=False)
    height = models.PositiveIntegerField(editable=False)
    uploaded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="guides_uploaded", editable=False
    )
    uploaded_at = models.DateTimeField(auto_now_add=True)

    objects = GuideQuerySet.as_manager()

    class Meta:
        indexes = [models.Index(fields=["series", "sha256"], name="guides_guide_content")]
        constraints = [
            models.UniqueConstraint(fields=["issue", "page", "revision"], name="guides_revision_once"),
            models.UniqueConstraint(
                fields=["issue", "page"], condition=Q(is_current=True), name="guides_one_current_revision"
            ),
        ]

    def __str__(self) -> str:
        return f"page {self.page}" if self.page[:1].isdigit() else self.page

    def get_absolute_url(self) -> str:
        return reverse("guide", args=[self.series.slug, self.pk])

    @property
    def stands(self) -> bool:
        """Whether marks on it count: it is the current revision, and its issue is not archived."""
        return self.is_current and self.issue.archived_at is None
