"""Templates lose their lines and indents on the way to a page, and nothing that HTML shows."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.template import engines
from lxml import html

from bible.web.loading import flat

HOUSE = Path(__file__).resolve().parents[3]


@pytest.mark.parametrize(
    ("written", "sent"),
    [
        ("<p>\n  Cannot be\n  read\n</p>", "<p> Cannot be read </p>"),
        ('<a\n  href="x"\n  title="y"\n>z</a>', '<a href="x" title="y">z</a>'),
        ("<option\n  {% if a %}selected{% endif %}\n>", "<option {% if a %}selected{% endif %}>"),
        ("<ul>\n  <li>one</li>\n  <li>two</li>\n</ul>", "<ul>\n<li>one</li>\n<li>two</li>\n</ul>"),
        ("{% if a %}\n  one\n{% endif %}", "{% if a %} one {% endif %}"),
        ("a  b", "a  b"),
    ],
)
def test_a_break_of_lines_is_a_space_or_a_break_between_tags(written: str, sent: str) -> None:
    assert flat(written) == sent


@pytest.mark.parametrize("tag", ["pre", "textarea"])
def test_where_white_space_counts_it_stands(tag: str) -> None:
    written = f"<{tag} name='n'>\n  one\n\n  two\n</{tag}>"
    assert flat(f"<p>\n  {written}\n</p>") == f"<p>\n{written}\n</p>".replace("<p>\n", "<p> ").replace(
        "\n</p>", " </p>"
    )


def test_html_says_the_same() -> None:
    """By libxml2's parser: the same elements with the same words, for every template of the house."""

    def said(markup: str) -> list[tuple[str, list[str], list[str]]]:
        tree = html.fromstring(f"<div>{markup}</div>")
        return [
            (str(one.tag), sorted(one.attrib), [*(one.text or "").split(), "|", *(one.tail or "").split()])
            for one in tree.iter()
        ]

    templates = sorted((HOUSE / "templates").rglob("_*.html"))
    assert len(templates) > 50
    for path in templates:
        markup = path.read_text(encoding="utf-8")
        assert said(flat(markup)) == said(markup), path


def test_a_script_keeps_its_lines() -> None:
    """Its comments end where a line does."""
    (loader,) = engines["django"].engine.template_loaders  # type: ignore[attr-defined]
    name = "guides/booklets/pocket_worker.js"
    assert str(loader.get_template(name).source) == (HOUSE / "templates" / name).read_text(encoding="utf-8")
