"""The way on from a page that has nothing to show."""

from __future__ import annotations

from django import template
from django.template.context import Context

from guides.issues.next_steps import NextStep, next_step

register = template.Library()


@register.inclusion_tag("guides/issues/_next_step.html", name="next_step", takes_context=True)
def show_next_step(context: Context) -> dict[str, NextStep | None]:
    """A button for what the series lacks first; nothing where it has a marked page."""
    return {"step": next_step(context["series"], context["request"].may)}
