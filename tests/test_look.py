"""The greys: named in one file, without a hue, and chosen by whoever looks at them."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.test import Client
from django.urls import reverse

from bible.models import Series
from bible.web.preferences import Theme

STATIC = Path(__file__).parents[1] / "static"
TEMPLATES = Path(__file__).parents[1] / "templates"
TOKENS = STATIC / "bible" / "web" / "tokens.css"
SHEETS = sorted(STATIC.rglob("*.css"))
COLOUR = re.compile(
    r"#[0-9a-f]{3,8}\b|\b(?:rgba?|hsla?|hwb|lab|lch|oklab|oklch|color)\([^)]*\)"
    r"|(?<=[:\s])(?:white|black|gr[ae]y|silver|red|green|blue|yellow|orange|purple)(?=[\s;,])",
    re.IGNORECASE,
)


def without_remarks(sheet: Path) -> str:
    return re.sub(r"/\*.*?\*/", "", sheet.read_text(encoding="utf-8"), flags=re.DOTALL)


def channels(colour: str) -> list[int]:
    if colour.startswith("#"):
        digits = colour[1:] if len(colour) > 5 else "".join(digit * 2 for digit in colour[1:])
        return [int(digits[at : at + 2], 16) for at in (0, 2, 4)]
    return [int(figure) for figure in re.findall(r"\d+", colour)[:3]]


@pytest.mark.parametrize("sheet", [sheet for sheet in SHEETS if sheet != TOKENS], ids=lambda sheet: sheet.stem)
def test_colours_are_named_in_one_place(sheet: Path) -> None:
    assert COLOUR.findall(without_remarks(sheet)) == []


def test_no_template_and_no_script_names_a_colour() -> None:
    files = [*TEMPLATES.rglob("*.html"), *STATIC.rglob("*.js")]
    assert len(files) > 100
    literal = re.compile(r"""(?:fill|stroke|color|background)["']?\s*[=:,]\s*["']?(?:#|rgb)""")
    assert [file.name for file in files if literal.search(file.read_text(encoding="utf-8"))] == []


def test_no_grey_has_a_hue() -> None:
    colours = COLOUR.findall(without_remarks(TOKENS))
    assert len(colours) > 30
    assert [colour for colour in colours if len(set(channels(colour))) > 1] == []


def test_every_variable_is_defined_and_used() -> None:
    defined = set(re.findall(r"(--[\w-]+):", TOKENS.read_text(encoding="utf-8")))
    used = {name for sheet in SHEETS for name in re.findall(r"var\((--[\w-]+)", without_remarks(sheet))}
    set_by_the_viewer = {"--pin-scale", "--area-pen", "--covered", "--above", "--dot-width", "--dot-height"}
    assert used - defined == set_by_the_viewer
    assert defined - used == set()


def test_the_browser_s_own_parts_have_no_hue_either() -> None:
    """Ticks, sliders and what is selected are blue unless a page says otherwise."""
    frame = (TOKENS.parent / "frame.css").read_text(encoding="utf-8")
    assert re.search(r"^html \{[^}]*accent-color: var\(--strong\)", frame, re.MULTILINE)
    assert re.search(r"^::selection \{[^}]*background: var\(--strong\)", frame, re.MULTILINE)


@pytest.mark.django_db
class TestTheme:
    def test_nobody_has_chosen_so_the_system_says(self, client: Client) -> None:
        assert 'data-theme="system"' in client.get(reverse("login")).content.decode()

    @pytest.mark.parametrize("theme", [Theme.LIGHT, Theme.DARK])
    def test_a_choice_is_kept_and_shown_and_can_be_given_up(self, client: Client, theme: Theme) -> None:
        there = reverse("login")
        response = client.post(reverse("theme"), {"theme": theme.value, "next": there})
        assert response.headers["Location"] == there
        cookie = response.cookies["theme"]
        assert cookie["httponly"]
        assert cookie["samesite"] == "Lax"
        page = client.get(there).content.decode()
        assert f'data-theme="{theme.value}"' in page
        assert f'value="{theme.value}" aria-pressed="true"' in page
        client.post(reverse("theme"), {"theme": "system", "next": there})
        assert 'data-theme="system"' in client.get(there).content.decode()

    def test_members_choose_as_well(self, lead_client: Client, series: Series) -> None:
        there = reverse("flags", args=[series.slug]) + "?kind=differs"
        assert lead_client.post(reverse("theme"), {"theme": "dark", "next": there}).headers["Location"] == there
        assert 'data-theme="dark"' in lead_client.get(there).content.decode()

    @pytest.mark.parametrize(
        "elsewhere",
        ["https://elsewhere.example/", "//elsewhere.example/", "javascript:alert(1)", "\\\\elsewhere", ""],
    )
    def test_nobody_is_sent_to_another_host(self, client: Client, elsewhere: str) -> None:
        response = client.post(reverse("theme"), {"theme": "dark", "next": elsewhere})
        assert response.headers["Location"] == reverse("home")

    @pytest.mark.parametrize("said", ["", "sepia", "DARK", "dark; light"])
    def test_what_is_no_theme_is_refused_in_words(self, client: Client, said: str) -> None:
        client.cookies["theme"] = "light"
        response = client.post(reverse("theme"), {"theme": said, "next": reverse("login")}, follow=True)
        page = response.content.decode()
        assert "There is no such theme" in page
        assert 'data-theme="light"' in page, "what was chosen before stands"

    def test_a_cookie_somebody_made_up_changes_nothing(self, client: Client) -> None:
        client.cookies["theme"] = '"><script>'
        page = client.get(reverse("login")).content.decode()
        assert 'data-theme="system"' in page

    def test_it_wants_post_and_the_page_s_own_token(self) -> None:
        client = Client(enforce_csrf_checks=True)
        assert client.get(reverse("theme")).status_code == 405
        assert client.post(reverse("theme"), {"theme": "dark"}).status_code == 403
