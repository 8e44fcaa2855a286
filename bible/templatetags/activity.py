"""The sign in the navigation that something is new."""

from __future__ import annotations

from django import template
from django.template.context import Context

from bible.services import has_news

register = template.Library()


@register.simple_tag(takes_context=True)
def news(context: Context) -> bool:
    """Whether somebody else has done something since this member last looked; False outside a series."""
    membership = getattr(context.get("request"), "membership", None)
    return membership is not None and has_news(membership)
