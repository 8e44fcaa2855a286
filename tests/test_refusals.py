"""Whatever form is refused says why beside the field it is about: nonsense is written into every field of every form
that the pages of a small series show."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from django.forms import BaseForm
from django.test import Client
from django.urls import reverse
from lxml import html

from bible.models import Allowance, Membership
from tests.built_once import built_once, own_files
from tests.forms import PageForm, forms_of
from tests.world import ADDRESSES, SERIES_PREFIX, World, full_name, url

pytestmark = pytest.mark.django_db

NONSENSE = "\u20acno\u2116"


@pytest.fixture(scope="module")
def built(django_db_setup: None, django_db_blocker: Any, built_files: Path) -> Iterator[World]:
    yield from built_once(World, django_db_blocker, built_files)


@pytest.fixture
def world(built: World, db: None, settings: Any, built_files: Path) -> World:
    own_files(built_files, settings.MEDIA_ROOT)
    return built


def addresses(world: World) -> Iterator[str]:
    for address in ADDRESSES:
        arguments = world.arguments(address)
        inside = address.route.startswith(SERIES_PREFIX)
        yield url(address, world.series, arguments) if inside else reverse(full_name(address), kwargs=arguments)


def shown(client: Client, world: World) -> Iterator[PageForm]:
    """Every form that changes something, once for each address it is sent to."""
    seen: set[str] = set()
    for address in addresses(world):
        answer = client.get(address)
        if answer.status_code != 200 or answer.streaming or b"<form" not in answer.content:
            continue
        for form in forms_of(answer):
            if form.method == "post" and form.address not in seen:
                seen.add(form.address)
                yield form


def refused(client: Client, form: PageForm, name: str) -> Any:
    """The answer to a form in which one field says nonsense; whatever it did is rolled back."""
    said: dict[str, list[str]] = {}
    for told, value in form.entries:
        said.setdefault(told, []).append(NONSENSE if told == name else value)
    with transaction.atomic():
        answer = client.post(form.address, said)
        transaction.set_rollback(True)
    return answer


def forms_in(answer: Any) -> Iterator[BaseForm]:
    for context in answer.context or ():
        for layer in context.dicts:
            yield from (value for value in layer.values() if isinstance(value, BaseForm) and value.errors)


def unsaid(answer: Any) -> Iterator[str]:
    """Errors of the forms that an answer shows which do not stand beside their fields; hidden ones stand anywhere."""
    page = html.fromstring(answer.content.decode())
    text = " ".join(page.text_content().split())
    for form in forms_in(answer):
        for name, errors in form.errors.items():
            controls = page.xpath(f'//*[@name="{form.add_prefix(name)}"][not(@type="hidden")]')
            fields = [
                one
                for control in controls
                for one in control.iterancestors()
                if "field-wrong" in one.get("class", "")
            ]
            beside = " ".join(" ".join(one.text_content().split()) for one in fields) if controls else text
            yield from (f"{name}: {error}" for error in map(str, errors) if " ".join(error.split()) not in beside)


def test_what_is_refused_is_said_beside_its_field(world: World) -> None:
    client = Client()
    client.force_login(world.people[Membership.Role.LEAD])
    faults, asked = set[str](), 0
    for form in list(shown(client, world)):
        for name in {told for told, _ in form.entries} - {"csrfmiddlewaretoken"}:
            Allowance.objects.all().delete()
            answer = refused(client, form, name)
            if answer.status_code == 422 and not answer.streaming:
                asked += 1
                faults |= {f"{form.address}, {name}: {words}" for words in unsaid(answer)}
                if not html.fromstring(answer.content.decode()).xpath(
                    '//*[contains(@class,"wrong") or @role="alert"]'
                ):
                    faults.add(f"{form.address}, {name}: refused without a word")
    assert sorted(faults) == []
    assert asked > 40, "the forms were found and refused something"
