"""Makes the README's pictures from the running demo: ``python tests/browser/tour.py [http://localhost:8000]``."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path
from typing import Any

TOUR = Path(__file__).resolve().parents[2] / "static" / "tour"
SERIES = "/s/quill-bend"
DESK: Any = {"width": 1280, "height": 860}
PHONE: Any = {"width": 390, "height": 780}
QUALITY = 82

# The password the demo prints for everybody; spelt here because this script needs no Django.
LOGIN = ("thea", "quill-bend-demo")


def first_flag(page: Any, base: str) -> str:
    """The address of the first severe flag's mark."""
    page.goto(f"{base}{SERIES}/flags/?severity=severe")
    return str(page.locator(".flag-where").first.get_attribute("href"))


def subject(page: Any, base: str, words: str) -> str:
    page.goto(f"{base}{SERIES}/bible/?q={words}")
    return str(page.locator(".subject h2 a").first.get_attribute("href"))


def main(base: str) -> None:
    from playwright.sync_api import sync_playwright

    TOUR.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        context = browser.new_context(viewport=DESK, base_url=base)
        page = context.new_page()
        page.goto("/sign-in/")
        page.fill("[name=username]", LOGIN[0])
        page.fill("[name=password]", LOGIN[1])
        page.click("button.main")
        stops = {
            "today": (f"{SERIES}/", DESK),
            "guide": (first_flag(page, base), DESK),
            "bible": (f"{SERIES}/bible/?issue=12", DESK),
            "subject": (subject(page, base, "tamsin+coat"), DESK),
            "flags": (f"{SERIES}/flags/", DESK),
            "look-up": (f"{SERIES}/look-up/?q=tamsin+coat", PHONE),
        }
        for name, (path, viewport) in stops.items():
            page.set_viewport_size(viewport)
            page.goto(path, wait_until="networkidle")
            page.screenshot(path=TOUR / f"{name}.jpg", type="jpeg", quality=QUALITY)
        browser.close()


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "http://localhost:8000")
