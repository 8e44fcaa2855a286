"""The tables of the guides."""

from guides.models.conditions import FlagKind
from guides.models.marks import Agreement, Mark, MarkQuerySet
from guides.models.pages import PAGE_LABEL_LENGTH, Guide

__all__ = ["PAGE_LABEL_LENGTH", "Agreement", "FlagKind", "Guide", "Mark", "MarkQuerySet"]
