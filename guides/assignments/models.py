"""Pages given to colourists, also those that have not come in yet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef

from bible.models import Issue, Membership, Series
from bible.models.permissions import RIGHTS, Permission
from guides.core.models.pages import PAGE_LABEL_LENGTH

if TYPE_CHECKING:
    from django.contrib.auth.base_user import AbstractBaseUser
    from django.contrib.auth.models import User

NOTE_OF_PAGES_LENGTH = 200


class AssignmentQuerySet(models.QuerySet["Assignment"]):
    def in_order(self) -> Self:
        return self.order_by("issue__position", "page_order", "page")

    def in_work(self) -> Self:
        """Pages of issues that are neither signed off nor archived."""
        return self.filter(issue__signed_off_at=None, issue__archived_at=None)

    def of_colourist(self, user: AbstractBaseUser) -> Self:
        return self.filter(colourist=user)

    def with_names(self) -> Self:
        """What a list of them prints, and ``held``: whether whoever it was given to may still mark in the series."""
        colourists = Membership.objects.filter(
            series=OuterRef("series"), user=OuterRef("colourist"), role__in=RIGHTS[Permission.MARK]
        )
        return self.select_related("issue", "colourist", "given_by").annotate(held=Exists(colourists))


class Assignment(models.Model):
    """One page of an issue given to a colourist. Given to somebody else it is the same row; taken back it is gone,
    and what was done stands among the activity."""

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="assignments", db_index=False)
    issue = models.ForeignKey(Issue, on_delete=models.CASCADE, related_name="assignments", db_index=False)
    page = models.CharField("page", max_length=PAGE_LABEL_LENGTH)
    page_order = models.PositiveIntegerField(editable=False)
    colourist = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="pages_given", db_index=False
    )
    due = models.DateField("to be in by", null=True, blank=True)
    note = models.CharField(max_length=NOTE_OF_PAGES_LENGTH, blank=True)
    given_by: models.ForeignKey[User | None, User | None] = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+", db_index=False
    )
    given_at = models.DateTimeField()

    objects = AssignmentQuerySet.as_manager()

    class Meta:
        ordering = ["issue", "page_order", "page"]
        indexes = [models.Index(fields=["series", "colourist"], name="guides_assignment_of_person")]
        constraints = [models.UniqueConstraint(fields=["issue", "page"], name="guides_page_given_once")]

    def __str__(self) -> str:
        return f"page {self.page}" if self.page[:1].isdigit() else self.page
