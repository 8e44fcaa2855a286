"""Editions: printings after the first, on a press and paper of their own, with own codes where they differ."""

from __future__ import annotations

from typing import Self

from django.db import models
from django.urls import reverse

from bible.series.models import Issue, IssueQuerySet, Series


class EditionQuerySet(models.QuerySet["Edition"]):
    def active(self) -> Self:
        return self.filter(archived_at=None)

    def in_order(self) -> Self:
        """The newest last; those without a day stand by their names behind the others."""
        return self.order_by(models.F("published").asc(nulls_last=True), "name", "id")

    def of(self, issue: Issue) -> Self:
        """Those that collect an issue."""
        return self.filter(collected__issue=issue)


class Edition(models.Model):
    """A second printing: a reprint on coated paper, an album.

    It collects some issues and prints them on its own press condition. Locks that name it hold in it alone; where it
    has none, the first printing's code holds.
    """

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="editions")
    name = models.CharField(max_length=80)
    press = models.CharField("press condition", max_length=60, blank=True, help_text="Empty: the series'.")
    published = models.DateField("published", null=True, blank=True)
    note = models.CharField(max_length=300, blank=True)
    archived_at = models.DateTimeField(null=True, blank=True, editable=False)

    objects = EditionQuerySet.as_manager()

    class Meta:
        ordering = ["name", "id"]
        constraints = [models.UniqueConstraint(fields=["series", "name"], name="bible_edition_name_once")]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("edition", args=[self.series.slug, self.pk])

    @property
    def issues(self) -> IssueQuerySet:
        """Those it collects, in running order."""
        return Issue.objects.filter(collected_in__edition=self).in_order()

    @property
    def press_name(self) -> str:
        return self.press or self.series.press


class CollectedIssue(models.Model):
    """An edition prints an issue."""

    edition = models.ForeignKey(Edition, on_delete=models.CASCADE, related_name="collected")
    issue = models.ForeignKey(Issue, on_delete=models.PROTECT, related_name="collected_in")

    class Meta:
        verbose_name = "issue in an edition"
        verbose_name_plural = "issues in editions"
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["edition", "issue"], name="bible_issue_collected_once")]

    def __str__(self) -> str:
        return f"{self.issue} in {self.edition}"
