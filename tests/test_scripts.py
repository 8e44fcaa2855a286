"""Stored and reflected script: a text that breaks out is put into every field there is and into every question, then
every address is asked. It may only ever appear escaped."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import models
from django.test import Client
from django.urls import reverse

from bible.models import Activity, Membership
from guides.models import BroughtTable
from tests.built_once import built_once, own_files, undone
from tests.factories import make_mark
from tests.pages import HTMX, client_of
from tests.scripts import Form, Reader, payload, text_of
from tests.world import IN_SERIES, Address, World, url

OURS = ("bible", "guides")

NOT_TEXT = {
    "bible.Series.slug", "bible.Series.press", "bible.Issue.press", "bible.Edition.press", "bible.PressUpload.name", "bible.PressUpload.text",
    "bible.Allowance.key", "guides.Arrival.refused", "bible.Invitation.token_hash", "bible.ReadToken.token_hash",
    "guides.Guide.sha256", "guides.Proof.sha256", "guides.Proof.press", "guides.Proof.refusal",
    "guides.ProofReading.ink", "guides.Arrival.sha256", "guides.Deed.key", "guides.Deed.last_step", "guides.Deed.digest",
    "guides.ChartScan.press_text", "guides.ChartScan.sha256", "guides.IssueStep.fingerprint", "guides.IssueStep.code_list", "guides.BroughtTable.sha256", "guides.BroughtTable.made",
    "bible.AccountSession.session_key", "bible.AccountSession.session_data", "bible.SecondFactor.salt", "bible.RecoveryCode.code_hash",
}  # fmt: skip
"""Strings that nobody types: hashes, keys, names out of a list."""

MUST_SHOW = {
    "bible.Series.title", "bible.Subject.name", "bible.Subject.note", "bible.Costume.name", "bible.Part.name",
    "bible.Issue.number", "bible.Issue.title", "bible.Lock.written", "bible.Lock.reason", "bible.LockNote.text",
    "bible.Proposal.note", "bible.Proposal.written", "bible.Scene.name", "bible.Scene.note", "bible.Invitation.meant_for",
    "bible.ReadToken.name", "guides.Guide.page", "guides.Mark.written", "guides.PageNote.text", "guides.Waiver.reason",
    "guides.BroughtTable.filename", "guides.Arrival.filename", "guides.Proof.shift_said", "guides.ProofReading.why",
    "auth.User.first_name", "guides.Mark.to_written", "bible.Activity.words",
}  # fmt: skip
"""What the pages do show: were it not found escaped either, the test would look at nothing."""


def text_fields() -> Iterator[tuple[Any, models.Field[Any, Any]]]:
    ours: list[Any] = [*apps.get_app_config("bible").get_models(), *apps.get_app_config("guides").get_models(), User]
    for model in ours:
        for field in model._meta.concrete_fields:
            text = isinstance(field, (models.CharField, models.TextField)) and not isinstance(field, models.SlugField)
            if text and not field.choices and str(field) not in NOT_TEXT and str(field) != "auth.User.password":
                yield model, field


def poison(world: World) -> dict[int, str]:
    """Break-out text in every field; the numbers in it tell which field it came from."""
    mark = world.things["marks"]
    make_mark(world.things["guides"], "YR", part=mark.part, to_written="Y2", x=0.2, y=0.2, to=(0.6, 0.7))
    numbers = {}
    for number, (model, field) in enumerate(text_fields(), 1):
        numbers[number] = str(field)
        unique = field.unique or any(
            field.name in one.fields for one in model._meta.constraints if hasattr(one, "fields")
        )
        rows = model._default_manager.all()
        # Told apart by a count, not by their keys: those grow with every test that ran before, and fields are short.
        for at, row in enumerate(rows.exclude(to_x=None) if field.name == "to_written" else rows):
            text = payload(number) + (str(at) if unique and field.name != "number" else "")
            model._default_manager.filter(pk=row.pk).update(**{field.name: text[: field.max_length]})
    numbers[len(numbers) + 1] = "bible.Activity.words"
    for deed in Activity.objects.all():
        deed.words = {
            key: payload(len(numbers)) if isinstance(said, str) else said for key, said in deed.words.items()
        }
        deed.save()
    table = f'Subject;Costume;Part;Code;Issue;Page;x;y\n"{quoted()}";"{quoted()}";"{quoted()}";"{quoted()}";"{quoted()}"\n'
    BroughtTable.objects.update(data=table.encode())
    return numbers


def quoted() -> str:
    return payload().replace('"', '""')


@pytest.fixture(scope="module")
def built(django_db_setup: None, django_db_blocker: Any, built_files: Path) -> Iterator[World]:
    yield from built_once(World, django_db_blocker, built_files)


@pytest.fixture
def world(built: World, db: None, settings: Any, built_files: Path) -> World:
    own_files(built_files, settings.MEDIA_ROOT)
    return built


@pytest.fixture
def lead(world: World) -> Client:
    return client_of(world.people[Membership.Role.LEAD])


def ask(client: Client, method: str, path: str, said: dict[str, Any] | None = None, **more: Any) -> Any:
    """One request, undone again."""
    with undone():
        response = getattr(client, method)(path, said or {}, **more)
        response.text_sent = text_of(response)
    assert response.status_code < 500, (method, path)
    return response


def hold(response: Any, what: str) -> Reader | None:
    """Nothing broke out; and what is no page says so, so that no browser takes it for one."""
    kind = response.headers.get("Content-Type", "")
    assert response.headers["X-Content-Type-Options"] == "nosniff", what
    if kind.startswith("text/html"):
        found = Reader(response.text_sent)
        assert not found.broken, (what, found.broken)
        return found
    if kind.startswith(("application/json", "application/manifest+json")):
        json.loads(response.text_sent)
    elif kind.startswith("text/javascript"):
        assert "<xss" not in response.text_sent, what
    elif response.text_sent:
        carries = ("text/csv", "text/plain", "text/css", "application/pdf", "application/zip", "application/ld+json")
        assert kind.startswith((*carries, "image/jpeg", "image/png", "application/xml")), (what, kind)
    return None


def pages(world: World) -> Iterator[tuple[Address, str]]:
    for address in IN_SERIES:
        yield address, url(address, world.series, world.arguments(address))


def test_stored_text_never_becomes_an_element_or_an_attribute(world: World, lead: Client) -> None:
    numbers = poison(world)
    shown = ""
    with_more: list[tuple[str, dict[str, str]]] = [(path, {}) for _, path in pages(world)]
    with_more += [(reverse("home"), {"all": ""}), (reverse("change-password"), {})]
    for path, asked in with_more:
        for said in (asked, {"as": "json"}, {"as": "csv"}):
            if found := hold(ask(lead, "get", path, said), path):
                shown += found.shown
        hold(ask(lead, "get", path, headers=HTMX), path)
    missing = {name for number, name in numbers.items() if f"<xss{number} onxss=1>" not in shown} & MUST_SHOW
    assert not missing


def test_others_see_no_broken_page_either(world: World) -> None:
    poison(world)
    for role in (Membership.Role.EDITOR, Membership.Role.GUEST):
        client = client_of(world.people[role])
        for _, path in pages(world):
            hold(ask(client, "get", path), path)


def said_of(form: Form) -> dict[str, Any]:
    files = {name: SimpleUploadedFile(payload() + ".png", b"no picture") for name in form.files}
    return dict.fromkeys(form.fields, payload()) | files


def test_what_is_asked_is_said_back_escaped(world: World, lead: Client) -> None:
    """Every field of every form, in the address or sent, and a few fields that no form shows."""
    reflected = 0
    hidden = dict.fromkeys(
        ("q", "issue", "part", "next", "plate", "press", "page", "mark", "from", "to", "as"), payload()
    )
    said_back: dict[tuple[Any, ...], bool] = {}
    for _, path in pages(world):
        page = hold(ask(lead, "get", path), path)
        answer = ask(lead, "get", path, hidden)
        hold(answer, path)
        reflected += "xss0" in answer.text_sent
        for form in page.forms if page else []:
            action = form.action or path
            if action.startswith(reverse("logout")):
                continue
            for headers in ({}, HTMX):
                # Forms of the bar stand on every page: what is the same request to the letter is asked once.
                asked = (form.method, action, frozenset(form.fields), frozenset(form.files), bool(headers))
                if asked not in said_back:
                    answer = ask(lead, form.method, action, said_of(form), headers=headers)
                    hold(answer, f"{form.method} {action} from {path}")
                    said_back[asked] = "xss0" in answer.text_sent
                reflected += said_back[asked]
    assert reflected > 60


def test_addresses_outside_a_series_say_nothing_back(world: World) -> None:
    client = Client()
    for path in (
        reverse("login"),
        f"/s/{payload()}/",
        f"/join/{payload()}/",
        f"/{payload()}",
        "/sign-in/?next=" + payload(),
    ):
        hold(ask(client, "get", path), path)
    answer = ask(client, "post", reverse("login"), {"username": payload(), "password": "x", "next": payload()})
    assert "xss0" in answer.text_sent
    hold(answer, "sign-in")


def test_the_reader_would_see_it() -> None:
    for page in (
        f"<p>{payload()}</p>",
        f'<a title="{payload()}">x</a>',
        f"<a title='{payload()}'>x</a>",
        f"<script>let a = '{payload()}'</script>",
        '<a href=" JavaScript:x">x</a>',
        "<img src=x onerror=x>",
    ):
        assert Reader(page).broken, page
    assert not Reader('<p title="&quot;&lt;xss&gt;">&lt;xss0 onxss=1&gt;</p>').broken


TYPED = ("name", "title", "note", "reason", "text", "written", "meant_for", "filename", "first_name")
SIGNS = ("=", "+", "-", "@", "\t=")


def write_everywhere(formula: str) -> None:
    for model, field in text_fields():
        if field.name in TYPED:
            for row in model._default_manager.all():
                text = formula + (str(row.pk) if field.name == "name" else "")
                model._default_manager.filter(pk=row.pk).update(**{field.name: text})


def test_no_cell_of_a_csv_is_a_formula(world: World, lead: Client) -> None:
    """Whoever writes a name writes into other people's spreadsheets."""
    gives_csv: list[str] = []
    formulas = []
    for sign in SIGNS:
        found = 0
        with undone():
            write_everywhere(f"{sign}1+cmd|xss")
            # Whether an address has its rows as CSV is the view's affair and not the sign's: asked of all of them once.
            for path in gives_csv or [path for _, path in pages(world)]:
                answer = ask(lead, "get", path, {"as": "csv"})
                if not answer.headers.get("Content-Type", "").startswith("text/csv"):
                    assert sign == SIGNS[0], (sign, path)
                    continue
                if sign == SIGNS[0]:
                    gives_csv.append(path)
                text = answer.text_sent.removeprefix("\ufeff")
                for row in csv.reader(io.StringIO(text, newline=""), delimiter=","):
                    found += sum("cmd|xss" in cell for cell in row)
                    if any(cell.lstrip().startswith(("=", "@", "+1+", "-1+")) for cell in row):
                        formulas.append((sign, path, row))
        assert found > 20, sign
    assert not formulas
