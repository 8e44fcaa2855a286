"""A second factor: set up, asked for, lost, taken off; and what a series may ask of its leads."""

from __future__ import annotations

import base64
import re
import time
from typing import Any
from urllib.parse import parse_qs, urlsplit

import cv2
import numpy as np
import pytest
from django.contrib.auth import get_user
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from bible.accounts import services
from bible.accounts.codes import key_address, matching_step, new_recovery_codes, picture, tidied, written_key
from bible.models import RecoveryCode, SecondFactor
from bible.web.limits import CODES, OLD_PASSWORD
from tests.bible.accounts.factors import code_of, with_factor, wrong_code
from tests.factories import PASSWORD, make_user
from tests.forms import form_of, link_of, text_of
from tests.pages import client_of, methods_are_refused

pytestmark = pytest.mark.django_db


RFC_KEY = b"12345678901234567890"
RFC_6238 = [
    (59, "94287082"),
    (1111111109, "07081804"),
    (1111111111, "14050471"),
    (1234567890, "89005924"),
    (2000000000, "69279037"),
    (20000000000, "65353130"),
]
"""RFC 6238, appendix B: time and code of eight digits with SHA-1; of six are the last six (RFC 4226, section 5.3)."""


@pytest.mark.parametrize(("moment", "code"), RFC_6238)
def test_codes_are_those_of_the_standard(moment: int, code: str) -> None:
    assert matching_step(RFC_KEY, code[2:], now=moment) == moment // 30
    assert matching_step(RFC_KEY, code[2:], now=moment + 30) == moment // 30, "typed a little late"
    assert matching_step(RFC_KEY, code[2:], now=moment + 90) is None


@pytest.mark.parametrize("typed", ["", "12345", "1234567", "１２３４５６", "-12345", "12345\n", "abcdef"])
def test_what_is_no_code_is_none(typed: str) -> None:
    assert matching_step(RFC_KEY, typed) is None


def drawn(svg: str, scale: int = 6) -> Any:
    """The black runs of the SVG's path, as a picture: “M4 4.5h7m2 0h1…”, each a unit high."""
    side = int(re.search(r'viewBox="0 0 (\d+) \d+"', svg)[1])  # type: ignore[index]
    path = re.findall(r'stroke="#000"[^>]*\bd="([^"]+)"|\bd="([^"]+)"[^>]*stroke="#000"', svg)
    pixels = np.full((side, side), 255, np.uint8)
    x = y = 0.0
    for letter, numbers in re.findall(r"([Mmh])([-\d. ]+)", "".join(path[-1])):
        values = [float(one) for one in numbers.split()]
        if letter == "h":
            pixels[int(y), int(x) : int(x + values[0])] = 0
            x += values[0]
        else:
            x, y = (values[0], values[1]) if letter == "M" else (x + values[0], y + values[1])
    return np.kron(pixels, np.ones((scale, scale), np.uint8))


def test_the_picture_holds_the_secret() -> None:
    """Read back by OpenCV's reader of QR codes."""
    address = key_address(RFC_KEY, "nell & co")
    read, _, _ = cv2.QRCodeDetector().detectAndDecode(drawn(picture(address)))
    assert read == address
    said = urlsplit(read)
    assert (said.scheme, said.netloc) == ("otpauth", "totp")
    secret = parse_qs(said.query)["secret"][0]
    assert base64.b32decode(secret) == RFC_KEY
    assert written_key(RFC_KEY).replace(" ", "") == secret


def secret_on(page: Any) -> bytes:
    shown = re.search(r'id="secret"[^>]*value="([^"]+)"', " ".join(page.content.decode().split()))
    assert shown
    return base64.b32decode(shown[1].replace(" ", ""))


def test_it_is_set_up_through_the_account_and_asked_for_from_then_on() -> None:
    user = make_user(username="nell")
    here, elsewhere = client_of(user), client_of(user)
    account = here.get(reverse("account"))
    page = here.get(link_of(account, "Set it up"))
    key = secret_on(page)
    assert secret_on(here.get(reverse("second-factor"))) == key, "looking again shows the same"
    used = code_of(key)
    answer = form_of(page, has="code").fill(password=PASSWORD, code=used).press(here, "Turn it on")
    codes = re.findall(r"\b[a-z2-7]{4}(?:-[a-z2-7]{4}){3}\b", text_of(answer))
    assert len(set(codes)) == 10
    assert get_user(here).is_authenticated
    assert elsewhere.get(reverse("account")).status_code == 302, "signed in without a code: signed out"
    assert "On since" in text_of(here.get(reverse("account")))
    stored = str(list(SecondFactor.objects.values()) + list(RecoveryCode.objects.values()))
    assert not any(secret in stored for secret in (key.hex(), *codes, *map(tidied, codes)))

    again = Client()
    half = form_of(again.get(reverse("login")), has="username").fill(username="nell", password=PASSWORD).press(again)
    assert half.url == reverse("sign-in-code")
    assert not get_user(again).is_authenticated
    assert again.get(reverse("account")).status_code == 302
    step = form_of(again.get(half.url), has="code")
    refused = step.fill(code=used).press(again)
    assert refused.status_code == 422, "this code has been used for setting up"
    let_in = step.fill(code=codes[0].upper().replace("-", " ")).press(again, follow=True)
    assert get_user(again) == user
    assert "recovery code is used up; you have 9 more" in text_of(let_in)
    assert not services.check(user=user, code=codes[0])


def test_a_code_is_good_once_and_in_order() -> None:
    user = make_user()
    factor, _ = with_factor(user)
    now, before = code_of(factor.key), code_of(factor.key, -1)
    assert services.check(user=user, code=f" {now[:3]} {now[3:]} ")
    assert not services.check(user=user, code=now)
    assert not services.check(user=user, code=before), "what was shown before is over with it"


@pytest.mark.parametrize(
    ("code", "password"), [("", PASSWORD), ("wrong", PASSWORD), ("right", "guess"), ("right", "")]
)
def test_setting_up_needs_the_password_and_a_code(code: str, password: str) -> None:
    user = make_user()
    client = client_of(user)
    key = secret_on(client.get(reverse("second-factor")))
    said = {"": "", "wrong": wrong_code(key), "right": code_of(key)}[code]
    answer = client.post(reverse("second-factor"), {"code": said, "password": password})
    assert answer.status_code == 422
    assert not SecondFactor.objects.exists()


def test_an_open_screen_does_not_let_the_password_be_tried() -> None:
    user = make_user()
    with_factor(user)
    client = client_of(user)
    for _ in range(OLD_PASSWORD.at_once):
        assert client.post(reverse("remove-second-factor"), {"password": "guess"}).status_code == 422
    assert client.post(reverse("remove-second-factor"), {"password": PASSWORD}).status_code == 429
    assert SecondFactor.objects.exists()


def test_new_recovery_codes_and_taking_it_off() -> None:
    user = make_user()
    _, old = with_factor(user)
    client = client_of(user)
    page = client.get(link_of(client.get(reverse("account")), "New codes, or take it off"))
    form = form_of(page, has="password").fill(password=PASSWORD)
    answer = form.press(client, "Make new recovery codes")
    assert "The ones you had before open nothing any more" in text_of(answer)
    assert not services.check(user=user, code=old[0])
    fresh = re.findall(r"\b[a-z2-7]{4}(?:-[a-z2-7]{4}){3}\b", text_of(answer))
    assert services.check(user=user, code=fresh[0])
    done = form.press(client, "Take the second factor off", follow=True)
    assert "You sign in with your password alone from now on" in text_of(done)
    assert not SecondFactor.objects.exists()
    assert not RecoveryCode.objects.exists()


def half_way(user: User, **headers: Any) -> Client:
    client = Client()
    answer = client.post(reverse("login"), {"username": user.username, "password": PASSWORD}, **headers)
    assert answer.url == reverse("sign-in-code")  # type: ignore[attr-defined]
    return client


def test_half_way_is_nowhere() -> None:
    """Not without the first step, not after ten minutes, not once the password is another, not for somebody shut out."""
    user = make_user()
    factor, codes = with_factor(user)
    nobody = Client()
    assert "Nobody has given a password here" in text_of(nobody.get(reverse("sign-in-code")))
    nobody.post(reverse("sign-in-code"), {"code": codes[0]})
    assert not get_user(nobody).is_authenticated

    late = half_way(user)
    session = late.session
    session["second_step"] = session["second_step"] | {"at": time.time() - 601}
    session.save()
    late.post(reverse("sign-in-code"), {"code": code_of(factor.key)})
    assert not get_user(late).is_authenticated

    early = half_way(user)
    user.set_password("nine-quiet-herons")
    user.save()
    early.post(reverse("sign-in-code"), {"code": code_of(factor.key)})
    assert not get_user(early).is_authenticated

    user.set_password(PASSWORD)
    user.save()
    shut = half_way(user)
    User.objects.filter(pk=user.pk).update(is_active=False)
    shut.post(reverse("sign-in-code"), {"code": code_of(factor.key)})
    assert not get_user(shut).is_authenticated
    assert services.check(user=user, code=codes[0]), "none of these used anything up"


def test_a_planted_session_is_not_half_way_in() -> None:
    user = make_user()
    _, codes = with_factor(user)
    client = Client()
    session = client.session
    session["planted"] = 1
    session.save()
    client.cookies["sessionid"] = planted = session.session_key or ""
    client.post(reverse("login"), {"username": user.username, "password": PASSWORD})
    thief = Client()
    thief.cookies["sessionid"] = planted
    thief.post(reverse("sign-in-code"), {"code": codes[0]})
    assert not get_user(thief).is_authenticated


def test_codes_are_not_tried_out_from_many_places_and_a_recovery_code_lets_in_all_the_same() -> None:
    user = make_user()
    factor, codes = with_factor(user)
    thieves = [half_way(user, REMOTE_ADDR=f"192.0.2.{n}") for n in range(3)]
    for n in range(CODES.at_once):
        answer = thieves[n % 3].post(reverse("sign-in-code"), {"code": wrong_code(factor.key)})
        assert answer.status_code == 422
    assert thieves[0].post(reverse("sign-in-code"), {"code": wrong_code(factor.key)}).status_code == 429
    assert thieves[1].post(reverse("sign-in-code"), {"code": code_of(factor.key)}).status_code == 429
    person = half_way(user, REMOTE_ADDR="198.51.100.1")
    person.post(reverse("sign-in-code"), {"code": codes[0]})
    assert get_user(person) == user


def test_its_pages_need_somebody_signed_in_and_proper_verbs() -> None:
    for name in ("account", "second-factor", "new-recovery-codes", "remove-second-factor", "sign-out-there"):
        assert Client().get(reverse(name)).url.startswith(reverse("login"))  # type: ignore[attr-defined]
    client = client_of(make_user())
    methods_are_refused(client, reverse("second-factor"), "delete", "put")
    methods_are_refused(client, reverse("account"), "post", "delete")
    for name in ("new-recovery-codes", "remove-second-factor", "sign-out-there"):
        methods_are_refused(client, reverse(name), "get", "delete")
    for name in ("new-recovery-codes", "remove-second-factor"):
        assert client.post(reverse(name), {"password": PASSWORD}).url == reverse("second-factor")  # type: ignore[attr-defined]


def test_recovery_codes_have_eighty_bits_and_no_two_are_alike() -> None:
    made = [code for _ in range(20) for code in new_recovery_codes()]
    assert len(set(made)) == 200
    assert all(len(tidied(code)) == 16 for code in made)


def test_an_account_takes_it_along_when_it_is_deleted() -> None:
    user = make_user()
    with_factor(user)
    client = client_of(user)
    user.delete()
    assert not SecondFactor.objects.exists()
    assert not RecoveryCode.objects.exists()
    assert client.get(reverse("account")).status_code == 302
