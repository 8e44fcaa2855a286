"""Nobody types into a page that is still coming in. A machine does: on a busy one, a field may be filled before the rest
of its form is there, and Enter then sends half a form; a button may be pressed before the script that hears it has run."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

import pytest
from playwright.sync_api import Locator, Page

OF_A_HAND = ("check", "click", "dblclick", "fill", "press", "select_option", "set_input_files", "tap", "uncheck")


def _once_there(deed: Callable[..., Any], place: Callable[..., Locator]) -> Callable[..., Any]:
    @wraps(deed)
    def done(self: Any, *args: Any, **options: Any) -> Any:
        found = place(self, *args)
        found.wait_for(state="attached", timeout=options.get("timeout"))
        found.page.wait_for_load_state("domcontentloaded")  # all is parsed, and every deferred script has run
        return deed(self, *args, **options)

    return done


def of_pages_and_locators(patch: pytest.MonkeyPatch) -> None:
    """From now on every deed of a hand waits until its page is parsed and listens."""
    for name in OF_A_HAND:
        patch.setattr(Locator, name, _once_there(getattr(Locator, name), lambda locator, *_: locator.first))
        patch.setattr(
            Page, name, _once_there(getattr(Page, name), lambda page, selector, *_: page.locator(selector).first)
        )
