"""Where one is signed in: what is listed, what is ended, and what a browser is called."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.contrib.auth import get_user
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from bible.accounts.devices import device_words
from bible.accounts.sessions import NOTED_EVERY
from bible.models import AccountSession
from tests.factories import PASSWORD, make_user
from tests.forms import NoSuchThing, form_of, text_of
from tests.pages import client_of

pytestmark = pytest.mark.django_db

AGENTS = {
    "Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101 Firefox/140.0": "Firefox on Linux",
    "Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/139.0.0.0 Safari/537.36": "Chrome on Windows",
    "Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/139.0.0.0 Safari/537.36 Edg/139.0.0.0": "Edge on Windows",
    "Mozilla/5.0 (Macintosh; Intel Mac OS X 10_15_7) AppleWebKit/605.1.15 (KHTML, like Gecko) Version/18.5 Safari/605.1.15": "Safari on a Mac",
    "Mozilla/5.0 (iPhone; CPU iPhone OS 18_5 like Mac OS X) AppleWebKit/605.1.15 (KHTML, like Gecko) Version/18.5 Mobile/15E148 Safari/604.1": "Safari on iPhone",
    "Mozilla/5.0 (X11; Linux x86_64) AppleWebKit/537.36 (KHTML, like Gecko) HeadlessChrome/139.0.0.0 Safari/537.36": "Chrome on Linux",
    "Mozilla/5.0 (X11; Linux x86_64) AppleWebKit/537.36 (KHTML, like Gecko) NewFork/1.0 Safari/537.36": "another browser on Linux",
    "Mozilla/5.0 (Linux; Android 10; K) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/139.0.0.0 Mobile Safari/537.36": "Chrome on Android",
    "": "another browser",
    "<script>alert(1)</script>": "another browser",
}
"""What browsers say of themselves, as their makers publish it."""


@pytest.mark.parametrize(("agent", "words"), AGENTS.items())
def test_a_browser_is_called_by_what_it_says(agent: str, words: str) -> None:
    assert device_words(agent) == words


def signed_in(agent: str = "") -> Client:
    client = Client(headers={"User-Agent": agent})
    client.post(reverse("login"), {"username": "nell", "password": PASSWORD})
    assert get_user(client).is_authenticated
    return client


FIREFOX, IPHONE = (
    next(agent for agent, said in AGENTS.items() if said == words)
    for words in ("Firefox on Linux", "Safari on iPhone")
)


def test_they_are_listed_and_one_is_signed_out() -> None:
    user = make_user(username="nell")
    here, phone = signed_in(FIREFOX), signed_in(IPHONE)
    client_of(make_user())
    page = here.get(reverse("account"))
    assert "Firefox on Linux, this one" in text_of(page)
    assert "Safari on iPhone" in text_of(page)
    assert AccountSession.objects.of(user).count() == 2
    keys = AccountSession.objects.values_list("session_key", flat=True)
    assert not any(key in page.content.decode() for key in keys), "a page holds no key that lets somebody in"
    answer = form_of(page, has="place").press(here, follow=True)
    assert "Signed out in 1 other place" in text_of(answer)
    assert phone.get(reverse("account")).status_code == 302
    assert here.get(reverse("account")).status_code == 200
    with pytest.raises(NoSuchThing):
        form_of(here.get(reverse("account")), has="place")


def test_everywhere_else_is_one_button() -> None:
    make_user(username="nell")
    here, *others = signed_in(), signed_in(), signed_in()
    page = here.get(reverse("account"))
    answer = form_of(page, says="Sign out everywhere else").press(here, "Sign out everywhere else", follow=True)
    assert "Signed out in 2 other places" in text_of(answer)
    assert [one.get(reverse("account")).status_code for one in (here, *others)] == [200, 302, 302]


@pytest.mark.parametrize("place", ["", "nonsense", "0" * 32])
def test_no_place_signs_nobody_out(place: str) -> None:
    make_user(username="nell")
    here, there = signed_in(), signed_in()
    answer = here.post(reverse("sign-out-there"), {"place": place}, follow=True)
    assert "Nobody is signed in there any more" in text_of(answer)
    assert there.get(reverse("account")).status_code == 200


def test_nobody_elses_session_is_reached() -> None:
    make_user(username="nell")
    theirs = signed_in()
    place = AccountSession.objects.get().place
    stranger = client_of(make_user())
    stranger.post(reverse("sign-out-there"), {"place": place})
    stranger.post(reverse("sign-out-there"), {"place": "everywhere"})
    assert theirs.get(reverse("account")).status_code == 200


def test_a_page_notes_its_use_once_in_ten_minutes(django_assert_num_queries: Any) -> None:
    make_user(username="nell")
    client = signed_in()
    before = AccountSession.objects.get().used_at
    client.get(reverse("help"))
    assert AccountSession.objects.get().used_at == before
    old = timezone.now() - NOTED_EVERY - dt.timedelta(seconds=1)
    AccountSession.objects.update(used_at=old)
    client.get(reverse("help"))
    assert AccountSession.objects.get().used_at > old + NOTED_EVERY


def test_a_session_of_an_older_password_is_not_listed() -> None:
    """A password that the command line changed says nothing to sessions; their own stamp does."""
    user = make_user(username="nell")
    signed_in(IPHONE)
    user.set_password("nine-quiet-herons")
    user.save()
    page = client_of(user).get(reverse("account"))
    assert "Safari on iPhone" not in text_of(page)


def test_signing_out_and_running_out_leave_no_row() -> None:
    make_user(username="nell")
    client = signed_in()
    client.post(reverse("logout"))
    assert not AccountSession.objects.exclude(user=None).exists()
    signed_in()
    AccountSession.objects.update(expire_date=timezone.now() - dt.timedelta(days=1))
    call_command("clearsessions")
    assert not AccountSession.objects.exists()


def test_a_new_password_ends_the_others_rows() -> None:
    make_user(username="nell")
    here, _ = signed_in(), signed_in()
    new = {"old_password": PASSWORD, "new_password1": "nine-quiet-herons", "new_password2": "nine-quiet-herons"}
    here.post(reverse("change-password"), new)
    assert [one.session_key for one in AccountSession.objects.all()] == [here.session.session_key]


def test_whoever_was_signed_in_before_the_table_came_stays_so() -> None:
    """The migration's own function, on rows that Django's table held."""
    from importlib import import_module

    from django.apps import apps
    from django.contrib.sessions.models import Session

    user = make_user()
    client = client_of(user)
    row = AccountSession.objects.get()
    Session.objects.create(session_key=row.pk, session_data=row.session_data, expire_date=row.expire_date)
    Session.objects.create(session_key="old", session_data="damaged", expire_date=row.expire_date)
    AccountSession.objects.all().delete()
    import_module("bible.migrations.0013_accounts").bring_sessions_over(apps, None)
    assert client.get(reverse("account")).status_code == 200
    assert AccountSession.objects.get(pk=row.pk).user == user
    assert not Session.objects.exists()
