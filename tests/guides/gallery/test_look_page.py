"""The page of all components: it uses the real pieces, shows every token and every state, and touches no data."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bible.models import Issue
from bible.models.fields import NoTint
from guides.gallery.samples import GAPS, GREYS, OWN_ROLES, TYPES, Samples
from guides.models import FlagKind, Mark

CSS = Path(__file__).parents[3] / "static"
pytestmark = pytest.mark.django_db


@pytest.fixture
def page(lead_client: Client) -> str:
    return lead_client.get(reverse("look")).content.decode()


def test_it_wants_a_sign_in_and_no_post(client: Client, lead_client: Client) -> None:
    assert client.get(reverse("look")).headers["Location"].startswith(reverse("login"))
    assert lead_client.post(reverse("look")).status_code == 405


def test_it_asks_the_database_for_nothing_but_the_person(
    lead_client: Client, django_assert_max_num_queries: Any
) -> None:
    with django_assert_max_num_queries(2):
        lead_client.get(reverse("look"))
    assert Mark.objects.count() == 0


def test_every_state_is_there(page: str) -> None:
    for kind in FlagKind:
        assert f'class="{"flag-weak" if kind.is_weak else "flag-kind"}">{kind.label}</span>' in " ".join(page.split())
    for state in ("agrees", "background", "flagged", "waived"):
        assert f"pin pin-{state}" in page
    assert "pin-chosen" in page
    assert 'class="fade"' in page
    assert "pin-drop" in page
    for role in OWN_ROLES:
        assert f'class="role role-{role.key}"' in page
    for stand in Issue.State:
        assert f"state-{stand.value}" in page
    assert page.count("swatch-none") >= len(NoTint)
    for shade in range(1, 7):
        assert f'class="s{shade}"' in page
    for sign in ("sign-open", "sign-waived", "said-unread", "band-code"):
        assert sign in page
    assert "the figure 4 has no meaning here" in page


def test_every_grey_size_and_gap_has_a_sample(page: str) -> None:
    tokens = (CSS / "bible" / "web" / "tokens.css").read_text(encoding="utf-8")
    samples = (CSS / "guides" / "gallery" / "look.css").read_text(encoding="utf-8")
    shown = {name for some in GREYS.values() for name, _ in some}
    constant = {
        "mark-ink",
        "mark-paper",
        "pin-paper",
        "veil",
        "swatch-line",
        "on-light-tint",
        "on-dark-tint",
        "paper",
        "print-line",
    }
    named = set(re.findall(r"--([\w-]+): (?:light-dark|#|rgb)", tokens))
    assert named - shown == constant, "shown by the marks, swatches and bands themselves"
    assert set(re.findall(r"--type-(\w+):", tokens)) == set(TYPES)
    assert {int(gap) for gap in re.findall(r"--gap-(\d+):", tokens)} == set(GAPS)
    for name in shown:
        assert f".grey-{name} " in samples
        assert f'class="grey grey-{name}"' in page
    for size in TYPES:
        assert f".type-{size} " in samples
        assert f'class="type-{size}"' in page


def test_the_samples_are_what_the_pages_would_say() -> None:
    samples = Samples()
    kinds = [flag.kind for flag in samples.flags()]
    assert set(kinds) == set(FlagKind)
    assert samples.flags()[0].severity is not None
    assert [pin.row.state for pin in samples.pins()].count("flagged") == 1
    assert samples.series.write(samples.locked) == "YR3B2"
