"""Pieces of a sentence that stand in templates of their own."""

from __future__ import annotations

from django import template
from django.template.context import Context
from django.utils.safestring import SafeString

register = template.Library()


@register.simple_tag(takes_context=True)
def inline(context: Context, name: str) -> SafeString:
    """Include a template as part of a line of text: without the white space it begins and ends with."""
    assert context.template is not None
    piece = context.template.engine.get_template(name)
    return SafeString(piece.render(context).strip())
