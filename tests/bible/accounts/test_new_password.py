"""A forgotten password: what a letter says, what its link opens, and what nobody learns by asking."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.conf import settings as project
from django.contrib.auth import get_user
from django.core import mail
from django.test import Client
from django.urls import reverse
from django_tasks_db.models import DBTaskResult

from bible.accounts import services
from bible.models import AccountSession
from bible.tasks.worker import work_off
from bible.web.limits import RESETS, RESETS_TO
from tests.factories import PASSWORD, make_user
from tests.forms import form_of, link_of, text_of
from tests.pages import client_of, methods_are_refused

pytestmark = pytest.mark.django_db

NEW = "nine-quiet-herons"


@pytest.fixture(autouse=True)
def sends(settings: Any) -> None:
    settings.SENDS_MAIL = True
    settings.PUBLIC_URL = "https://bible.example"


def ask(email: str, **headers: Any) -> Any:
    return Client().post(reverse("forgotten-password"), {"email": email}, **headers)


def link() -> str:
    """Where the one letter leads."""
    (letter,) = mail.outbox
    (found,) = re.findall(r"https://bible\.example(/password/new/\S+)", str(letter.body))
    return str(found)


def test_from_the_sign_in_page_to_a_new_password() -> None:
    user = make_user(username="nell", email="nell@example.org", first_name="Nell")
    elsewhere = client_of(user)
    person = Client()
    page = person.get(link_of(person.get(reverse("login")), "Password forgotten"))
    answer = form_of(page, has="email").fill(email="Nell@Example.org").press(person)
    assert "If an account has the address" in text_of(answer)
    assert mail.outbox == []
    work_off()
    assert mail.outbox[0].to == ["nell@example.org"]
    form_page = person.get(link(), follow=True)
    refused = form_of(form_page, has="new_password1").fill(new_password1="short", new_password2="short").press(person)
    assert refused.status_code == 422
    form = form_of(form_page, has="new_password1").fill(new_password1=NEW, new_password2=NEW)
    done = form.press(person, follow=True)
    assert "Your new password counts from now on" in text_of(done)
    assert not get_user(person).is_authenticated
    assert elsewhere.get(reverse("account")).status_code == 302
    assert not AccountSession.objects.exclude(user=None).exists()
    assert Client().post(reverse("login"), {"username": "nell", "password": PASSWORD}).status_code == 200
    assert Client().post(reverse("login"), {"username": "nell", "password": NEW}).status_code == 302
    assert person.get(link(), follow=True).status_code == 404, "it works once"


def test_a_second_factor_stays_and_is_asked_for() -> None:
    user = make_user(username="nell", email="nell@example.org")
    services.set_up(user=user, salt=services.new_salt(), step=0)
    ask("nell@example.org")
    work_off()
    person = Client()
    form_of(person.get(link(), follow=True), has="new_password1").fill(new_password1=NEW, new_password2=NEW).press(
        person
    )
    answer = person.post(reverse("login"), {"username": "nell", "password": NEW})
    assert answer.url == reverse("sign-in-code")  # type: ignore[attr-defined]


def test_nothing_tells_whether_an_address_is_anybodys() -> None:
    make_user(email="nell@example.org")
    make_user(email="gone@example.org", is_active=False)
    pages = [
        re.sub(r"csrf\w+|value=\"\w+\"|[A-Za-z0-9]{64}", "", answer.content.decode().replace(name, ""))
        for name in ("nell@example.org", "nobody@example.org", "gone@example.org")
        if (answer := ask(name)).status_code == 200
    ]
    assert len(pages) == 3
    assert len(set(pages)) == 1
    assert DBTaskResult.objects.count() == 3, "as much is done for each"
    assert not [row for row in DBTaskResult.objects.all() if "@" in str(row.args_kwargs)]
    work_off()
    assert [letter.to for letter in mail.outbox] == [["nell@example.org"]]


def test_accounts_without_an_address_get_no_letter() -> None:
    make_user(email="")
    assert ask("").status_code == 422
    assert ask("no address").status_code == 422
    work_off()
    assert mail.outbox == []


def test_letters_are_limited_by_network_and_by_address() -> None:
    make_user(email="nell@example.org")
    for _ in range(RESETS_TO.at_once):
        assert ask("nell@example.org").status_code == 200
    assert ask("NELL@example.org", REMOTE_ADDR="192.0.2.9").status_code == 429
    for n in range(RESETS.at_once):
        assert ask(f"somebody{n}@example.org", REMOTE_ADDR="192.0.2.8").status_code == 200
    assert ask("one-more@example.org", REMOTE_ADDR="192.0.2.8").status_code == 429


@pytest.mark.parametrize("path", ["MA/0", "x/y", "!!/set-password"])
def test_a_link_that_never_was_opens_nothing(path: str) -> None:
    answer = Client().get(f"/password/new/{path}/", follow=True)
    assert answer.status_code == 404
    assert Client().post(f"/password/new/{path}/", {"new_password1": NEW, "new_password2": NEW}).status_code == 404


def test_a_link_is_over_after_a_day_and_with_the_password(settings: Any) -> None:
    user = make_user(email="nell@example.org")
    ask("nell@example.org")
    work_off()
    user.set_password(NEW)
    user.save()
    assert Client().get(link(), follow=True).status_code == 404
    assert project.PASSWORD_RESET_TIMEOUT == 24 * 3600


def test_without_a_mail_server_it_says_whom_to_ask(settings: Any) -> None:
    settings.SENDS_MAIL = False
    make_user(email="nell@example.org")
    assert "This installation sends no e-mail" in text_of(Client().get(reverse("forgotten-password")))
    ask("nell@example.org")
    work_off()
    assert mail.outbox == []


def test_other_verbs_are_refused() -> None:
    methods_are_refused(Client(), reverse("forgotten-password"), "put", "delete")
