"""Screens and README say everyday words, one for one thing: those that were given up are nowhere.

The words are those of the style sheet in the application (``bible.web.words``).
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from bible.web.words import RETIRED, WORDS

ROOT = Path(__file__).resolve().parents[1]


def said(path: Path) -> str:
    """What a template or a page of text says: no tags of Django, no addresses, no comments."""
    text = re.sub(r"{%.*?%}|{{.*?}}|{#.*?#}", " ", path.read_text(encoding="utf-8"), flags=re.DOTALL)
    return " ".join(re.sub(r"<(?!/button|/a|/h1)[^>]*>", " ", text).split()).lower()


def test_a_word_is_told_once() -> None:
    told = [word.say for _, words in WORDS for word in words]
    assert len(told) == len(set(told))
    assert all(word.means.endswith(".") for _, words in WORDS for word in words)


@pytest.mark.parametrize("retired", RETIRED)
def test_words_that_were_given_up_are_nowhere(retired: str) -> None:
    pages = [*(ROOT / "templates").rglob("*.html"), ROOT / "README.md"]
    still = [str(page.relative_to(ROOT)) for page in pages if re.search(retired, said(page))]
    assert not still, f"say “{RETIRED[retired].say}” in {', '.join(still)}"
