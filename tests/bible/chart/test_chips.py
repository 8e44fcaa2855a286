"""Tints in templates: a swatch with its code, written once for each tint of a page."""

from __future__ import annotations

from typing import Any

import pytest
from django.template import Context, Template

from bible.colour.tints import Tint
from bible.models import Series
from bible.models.fields import NoTint
from bible.series.presses import condition

pytestmark = pytest.mark.django_db


def written(series: Series, *tints: Any, css: str = "", **more: Any) -> list[str]:
    template = Template("{% load colour %}{% for tint in tints %}{% chip tint css %}\n{% endfor %}")
    return template.render(Context({"series": series, "tints": tints, "css": css} | more)).strip().split("\n")


def test_each_tint_keeps_its_own_colour_and_code(series: Series) -> None:
    yellow, red = Tint(0, 0, 100), Tint(0, 100, 100)
    first, second, again = written(series, yellow, red, yellow)
    assert first == again != second
    assert condition(series).hex(yellow) in first
    assert f'<span class="code">{series.write(yellow)}</span>' in first
    assert f'<span class="code">{series.write(red)}</span>' in second


def test_what_is_no_tint_says_why(series: Series) -> None:
    said = written(series, *NoTint)
    assert [one.words in chip for one, chip in zip(NoTint, said, strict=True)] == [True] * len(NoTint)
    assert all("code-none" in chip for chip in said)


def test_size_and_press_make_another_chip(series: Series) -> None:
    tint = Tint(50, 0, 100)
    template = Template("{% load colour %}{% chip tint %}\n{% chip tint 'chip-large' %}")
    small, large = template.render(Context({"series": series, "tint": tint})).split("\n")
    assert "chip-large" in large
    assert "chip-large" not in small
    other = Series(title="Other", press="uncoated-fogra29")
    assert written(other, tint) != written(series, tint)
