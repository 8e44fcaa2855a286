"""Templates as they are sent: laid out in lines for who writes them, without the indents for who reads the page."""

from __future__ import annotations

import re

from django.template import Origin
from django.template.loaders import filesystem

AS_IT_STANDS = re.compile(r"(<(?:pre|textarea)\b.*?</(?:pre|textarea)>)", re.DOTALL | re.IGNORECASE)
"""Where white space is part of what is shown or sent."""
BEFORE_A_TAG_ENDS = re.compile(r"(?<=[\"'\w}])\s*\n\s*(?=/?>)")
LINE_BREAK = re.compile(r"(>?)\s*\n\s*(<?)")


def _shortest(line_break: re.Match[str]) -> str:
    before, after = line_break.groups()
    return "\n".join((before, after)) if before and after else f"{before} {after}"


def flat(markup: str) -> str:
    """HTML with its breaks of lines and indents made short: a break between two tags, a space elsewhere.

    A template's line can so be broken wherever a sentence or a tag has room for it, and no page carries the indents.
    """
    pieces = AS_IT_STANDS.split(markup)
    pieces[::2] = (LINE_BREAK.sub(_shortest, BEFORE_A_TAG_ENDS.sub("", piece)) for piece in pieces[::2])
    return "".join(pieces)


class FlatLoader(filesystem.Loader):
    """Django's loader of files; only HTML is made flat."""

    def get_contents(self, origin: Origin) -> str:
        contents = super().get_contents(origin)
        return flat(contents) if origin.name.endswith(".html") else contents
