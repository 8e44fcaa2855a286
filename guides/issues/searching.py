"""One search over everything a series has: what is typed, found by kind, a few of each.

Nothing is found that its own page would refuse: every kind is asked of the series, and all of them are read by
whoever may read it. What is archived is not offered.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import lru_cache

from django.db.models import Q
from django.template.loader import get_template

from bible.colour.gradients import TintOrGradient, ends_of
from bible.colour.notation import NotationError
from bible.colour.tints import Tint
from bible.locks.queries import FoundPart, answer_to
from bible.models import Edition, Issue, Membership, Series, Subject, as_printed
from bible.models.naming import name_of
from bible.web.views import TOPICS, Topic
from guides.models import Guide

OF_A_KIND = 6
"""What is shown of each kind: more than that is looked for in its own room."""


@dataclass(frozen=True, slots=True)
class Finds:
    """What a search found. ``code`` is the tint that the words are a code for."""

    code: Tint | None = None
    subjects: list[Subject] = field(default_factory=list)
    parts: list[FoundPart] = field(default_factory=list)
    issues: list[Issue] = field(default_factory=list)
    pages: list[Guide] = field(default_factory=list)
    people: list[Membership] = field(default_factory=list)
    topics: list[Topic] = field(default_factory=list)

    def __bool__(self) -> bool:
        return any((self.code, self.subjects, self.parts, self.issues, self.pages, self.people, self.topics))


def search(series: Series, words: str, position: int, edition: Edition | None = None) -> Finds:
    """Every kind of thing that the words name, as of a position of the running order."""
    if not words.strip():
        return Finds()
    issues = series.issues.active().filter(Q(number__iexact=as_printed(words)) | Q(title__icontains=words))
    return Finds(
        code=_code(series, words),
        subjects=list(series.subjects.active().named(words).order_by("name")[:OF_A_KIND]),
        parts=answer_to(series, words, position, OF_A_KIND, edition).found,
        issues=list(issues.order_by("-position")[:OF_A_KIND]),
        pages=_pages(series, words),
        people=[member for member in series.memberships.by_role() if _holds(name_of(member.user), words)][:OF_A_KIND],
        topics=[topic for topic in TOPICS if _holds(_help_words(topic.slug), words)],
    )


def _holds(text: str, words: str) -> bool:
    return all(word in text.casefold() for word in words.casefold().split())


def _code(series: Series, words: str) -> Tint | None:
    try:
        value: TintOrGradient = series.read_locked(words)
    except NotationError:
        return None
    tint, end = ends_of(value)
    return None if end else tint


def _pages(series: Series, words: str) -> list[Guide]:
    """“25 2”, “issue 25 page 2”, “Annual 1 cover”: the last word is the page, what stands before it the issue."""
    *before, page = [
        word for word in words.replace(",", " ").split() if word.casefold() not in ("issue", "page")
    ] or [""]
    if not before:
        return []
    pages = Guide.objects.current().filter(issue__series=series, issue__archived_at=None, page__iexact=page)
    return list(
        pages.filter(issue__number__iexact=as_printed(" ".join(before))).select_related("issue", "series")[:OF_A_KIND]
    )


@lru_cache(maxsize=len(TOPICS))
def _help_words(slug: str) -> str:
    """A page of help as it is written, without its markup."""
    topic = next(topic for topic in TOPICS if topic.slug == slug)
    source: str = get_template(f"bible/web/help/{slug}.html").template.source  # type: ignore[attr-defined]
    plain = re.sub(r"<[^>]*>|{%.*?%}|{{.*?}}", " ", source)
    return f"{topic.title} {topic.asks} {' '.join(plain.split())}"
