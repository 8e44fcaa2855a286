"""The page for a fault of ours comes whatever is broken, and leads on."""

from __future__ import annotations

import pytest
from django.test import RequestFactory

from bible.web import views as faults


def test_it_says_the_number_and_leads_on() -> None:
    request = RequestFactory().get("/")
    request.number = "4711-abc"  # type: ignore[attr-defined]
    answer = faults.broken(request)
    page = answer.content.decode()
    assert answer.status_code == 500
    assert "4711-abc" in page
    assert 'href="/"' in page
    assert page.count('rel="stylesheet"') == len(faults.SHEETS)


def test_it_comes_without_its_style_sheets_too(monkeypatch: pytest.MonkeyPatch) -> None:
    def never_collected(name: str) -> str:
        raise ValueError(f"Missing staticfiles manifest entry for '{name}'")

    monkeypatch.setattr(faults, "static", never_collected)
    page = faults.broken(RequestFactory().get("/")).content.decode()
    assert "Something broke on our side" in page
    assert "stylesheet" not in page
