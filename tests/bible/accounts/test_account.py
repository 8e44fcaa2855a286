"""Signing in: who is slowed down and who is not, what is told; and changing one's own password."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.contrib.auth import get_user, hashers
from django.test import Client
from django.urls import reverse

from bible.models import Allowance
from bible.web.limits import OLD_PASSWORD, SIGN_IN, SIGN_IN_ADDRESS
from tests.factories import PASSWORD, make_user
from tests.pages import client_of, methods_are_refused

pytestmark = pytest.mark.django_db
SIGN_IN_PAGE = "/sign-in/"


def try_it(username: str, password: str = "wrong", address: str = "192.0.2.1", client: Client | None = None) -> Any:
    return (client or Client()).post(SIGN_IN_PAGE, {"username": username, "password": password}, REMOTE_ADDR=address)


def test_after_ten_wrong_passwords_even_the_right_one_waits() -> None:
    make_user(username="nell")
    for _ in range(SIGN_IN.at_once):
        assert try_it("nell").status_code == 200
    refused = try_it("nell", PASSWORD)
    assert refused.status_code == 429
    assert int(refused["Retry-After"]) <= SIGN_IN.every
    assert "too many wrong passwords from here for this account" in refused.content.decode()
    assert "_auth_user_id" not in refused.client.session


def test_nobody_is_locked_out_by_somebody_elses_address() -> None:
    make_user(username="nell")
    for _ in range(SIGN_IN.at_once + 5):
        try_it("nell", address="198.51.100.66")
    assert try_it("nell", PASSWORD).status_code == 302


def test_one_address_cannot_try_every_account() -> None:
    for n in range(SIGN_IN_ADDRESS.at_once):
        assert try_it(f"somebody{n}").status_code == 200
    refused = try_it("one-more")
    assert refused.status_code == 429
    assert "too many sign-ins from here" in refused.content.decode()
    assert try_it("one-more", address="192.0.2.2").status_code == 200


def test_an_account_of_ones_own_earns_no_tries_at_others() -> None:
    """A right sign-in forgives its own account's tries and its own place in the address's count, nothing more."""
    make_user(username="mallory")
    for _ in range(SIGN_IN.at_once):
        try_it("nell")
        assert try_it("mallory", PASSWORD).status_code == 302
    assert try_it("nell").status_code == 429


@pytest.mark.parametrize("spelling", ["NELL", " nell", "ｎｅｌｌ"])
def test_another_spelling_buys_no_tries(spelling: str) -> None:
    make_user(username="nell")
    for _ in range(SIGN_IN.at_once):
        try_it("nell")
    assert try_it(spelling).status_code == 429


def test_people_who_sign_in_rightly_are_never_slowed_down() -> None:
    make_user(username="nell")
    for _ in range(SIGN_IN_ADDRESS.at_once + 10):
        assert try_it("nell", PASSWORD).status_code == 302


def words(answer: Any, username: str) -> str:
    page = answer.content.decode()
    for secret in (username, *(cookie.value for cookie in answer.cookies.values())):
        page = page.replace(secret, "")
    page = re.sub(r"again in \d+ seconds", "again", page)  # the clock goes on between two tries
    return re.sub(r"<[^>]*csrf[^>]*>", "", page, flags=re.IGNORECASE)


@pytest.mark.parametrize("tries", [1, SIGN_IN.at_once + 1])
def test_no_words_tell_whether_an_account_exists(tries: int) -> None:
    make_user(username="nell")
    make_user(username="gone", is_active=False)
    for _ in range(tries):
        there, not_there = try_it("nell"), try_it("nobody", address="192.0.2.2")
        shut = try_it("gone", PASSWORD, address="192.0.2.3")
    assert there.status_code == not_there.status_code == shut.status_code
    assert words(there, "nell") == words(not_there, "nobody") == words(shut, "gone")


def test_no_time_tells_whether_an_account_exists(monkeypatch: pytest.MonkeyPatch) -> None:
    """Counted, not timed: a password is hashed once, whoever was named; and none at all once it is too many."""
    make_user(username="nell")
    hashed: list[str] = []
    hasher = type(hashers.get_hasher())
    original = hasher.encode

    def counting(self: Any, password: str, salt: str, *more: Any) -> str:
        hashed.append(password)
        return original(self, password, salt, *more)

    monkeypatch.setattr(hasher, "encode", counting)
    for username in ("nell", "nobody"):
        hashed.clear()
        try_it(username)
        assert len(hashed) == 1
        for _ in range(SIGN_IN.at_once):
            try_it(username)
        assert len(hashed) == SIGN_IN.at_once


def test_signing_in_makes_a_new_session_key() -> None:
    make_user(username="nell")
    client = Client()
    session = client.session  # somebody planted this key in the browser
    session["planted"] = 1
    session.save()
    client.cookies["sessionid"] = planted = session.session_key or ""
    assert try_it("nell", PASSWORD, client=client).status_code == 302
    assert client.session.session_key != planted
    thief = Client()
    thief.cookies["sessionid"] = planted
    assert thief.get(reverse("home")).status_code == 302


CHANGE = {"old_password": PASSWORD, "new_password1": "nine-quiet-herons", "new_password2": "nine-quiet-herons"}


def test_a_new_password_signs_out_everywhere_else() -> None:
    user = make_user(username="nell")
    here, elsewhere = client_of(user), client_of(user)
    before = here.session.session_key
    answer = here.post(reverse("change-password"), CHANGE, follow=True)
    assert "Your password is changed. You are signed out everywhere else." in answer.content.decode()
    assert here.session.session_key != before
    assert get_user(here).is_authenticated
    assert elsewhere.get(reverse("change-password")).status_code == 302
    assert try_it("nell", PASSWORD).status_code == 200
    assert try_it("nell", "nine-quiet-herons").status_code == 302


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"old_password": "not-the-old-one"}, "old password was entered incorrectly"),
        ({"new_password1": "short-one-1", "new_password2": "short-one-1"}, "at least 12 characters"),
        ({"new_password1": "qwerty123456", "new_password2": "qwerty123456"}, "too common"),
        ({"new_password1": "nell-of-the-hill", "new_password2": "nell-of-the-hill"}, "too similar"),
        ({"new_password2": "nine-quiet-hero"}, "match"),
    ],
)
def test_a_bad_password_is_refused_in_words(wrong: dict[str, str], said: str) -> None:
    user = make_user(username="nell-of-the-hill")
    answer = client_of(user).post(reverse("change-password"), CHANGE | wrong)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    user.refresh_from_db()
    assert user.check_password(PASSWORD)


def test_the_old_password_cannot_be_tried_out_at_an_open_screen() -> None:
    client = client_of(make_user())
    for _ in range(OLD_PASSWORD.at_once):
        assert client.post(reverse("change-password"), CHANGE | {"old_password": "guess"}).status_code == 422
    assert client.post(reverse("change-password"), CHANGE).status_code == 429


def test_changing_a_password_needs_somebody_signed_in_and_a_proper_verb() -> None:
    assert Client().get(reverse("change-password")).url.startswith(reverse("login"))  # type: ignore[attr-defined]
    assert Client().post(reverse("change-password"), CHANGE).status_code == 302
    client = client_of(make_user())
    assert client.get(reverse("change-password")).status_code == 200
    methods_are_refused(client, reverse("change-password"), "delete", "patch")
    methods_are_refused(Client(), reverse("login"), "put", "patch", "delete")
    assert not Allowance.objects.exists()


@pytest.mark.parametrize(
    "elsewhere", ["https://evil.example/", "//evil.example", "/\\evil.example", "javascript:x", "http:evil"]
)
def test_signing_in_leads_nowhere_else(elsewhere: str) -> None:
    make_user(username="nell")
    answer = Client().post(SIGN_IN_PAGE, {"username": "nell", "password": PASSWORD, "next": elsewhere})
    assert answer.url == reverse("home")  # type: ignore[attr-defined]


def test_the_old_session_is_gone_after_signing_out() -> None:
    client = client_of(make_user())
    key = client.session.session_key
    client.post(reverse("logout"))
    thief = Client()
    thief.cookies["sessionid"] = key or ""
    assert thief.get(reverse("home")).status_code == 302


def test_no_picture_on_somebodys_page_signs_people_out() -> None:
    client = client_of(make_user())
    assert client.get(reverse("logout")).status_code == 405
    assert client.get(reverse("change-password")).status_code == 200
