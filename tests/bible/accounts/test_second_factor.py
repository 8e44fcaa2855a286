"""A second factor: set up, asked for, lost, taken off; and what a series may ask of its leads."""

from __future__ import annotations

import base64
import io
import json
import re
import time
from typing import Any
from urllib.parse import parse_qs, urlsplit

import cv2
import numpy as np
import pytest
from django.contrib.auth import get_user
from django.contrib.auth.models import User
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from bible.accounts import services
from bible.accounts.codes import key_address, matching_step, new_recovery_codes, picture, tidied, written_key
from bible.models import Activity, RecoveryCode, SecondFactor, Series
from bible.web.limits import CODES, OLD_PASSWORD, SIGN_IN
from tests.factories import PASSWORD, make_member, make_series, make_user
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


def code_of(key: bytes, steps: int = 0) -> str:
    """What a device shows now: found by asking, since it has to be one of a million."""
    from django_otp.oath import totp

    return f"{totp(key, drift=steps):06d}"


def wrong_code(key: bytes) -> str:
    near = {code_of(key, steps) for steps in range(-2, 3)}
    return next(f"{n:06d}" for n in range(10) if f"{n:06d}" not in near)


def with_factor(user: User) -> tuple[SecondFactor, list[str]]:
    codes = services.set_up(user=user, salt=services.new_salt(), step=0)
    return SecondFactor.objects.get(user=user), codes


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


class TestSlowedDown:
    """Wrong passwords from one's own network do not keep one out."""

    def spoil(self, username: str) -> None:
        for _ in range(SIGN_IN.at_once + 1):
            Client().post(reverse("login"), {"username": username, "password": "guess"})

    def test_whoever_has_a_second_factor_says_both_at_once(self) -> None:
        user = make_user(username="nell")
        factor, codes = with_factor(user)
        self.spoil("nell")
        person = Client()
        slowed = person.post(reverse("login"), {"username": "nell", "password": PASSWORD})
        assert slowed.status_code == 429
        assert "need not wait" in text_of(slowed)
        form = form_of(slowed, has="code")
        both = form.fill(username="nell", password=PASSWORD, code=code_of(factor.key)).press(person)
        assert both.url == reverse("home")
        assert get_user(person) == user
        self.spoil("nell")
        other = Client()
        form.fill(username="nell", password=PASSWORD, code=codes[0]).press(other)
        assert get_user(other) == user

    def test_it_is_no_way_to_try_passwords(self) -> None:
        """Every answer is the same, whichever of the two is wrong and whoever has a second factor or none."""
        factor, _ = with_factor(make_user(username="nell"))
        make_user(username="mary")
        self.spoil("nell")
        self.spoil("mary")
        said = set()
        for name, password, code in [
            ("nell", PASSWORD, wrong_code(factor.key)),
            ("nell", "guess", code_of(factor.key)),
            ("nell", "guess", ""),
            ("mary", PASSWORD, "000000"),
            ("mary", "guess", "000000"),
        ]:
            answer = Client().post(reverse("login"), {"username": name, "password": password, "code": code})
            assert answer.status_code == 429
            said.add(re.sub(r"\d+ seconds?|csrf\w+|value=\"\w+\"|[A-Za-z0-9]{32,}", "", answer.content.decode()))
        assert len(said) == 1

    def test_a_browser_that_was_signed_in_before_is_counted_by_itself(self) -> None:
        user = make_user(username="nell")
        person = Client()
        person.post(reverse("login"), {"username": "nell", "password": PASSWORD})
        person.post(reverse("logout"))
        self.spoil("nell")
        assert person.post(reverse("login"), {"username": "nell", "password": PASSWORD}).status_code == 302
        assert get_user(person) == user
        person.post(reverse("logout"))
        for _ in range(SIGN_IN.at_once):
            person.post(reverse("login"), {"username": "nell", "password": "guess"})
        assert person.post(reverse("login"), {"username": "nell", "password": PASSWORD}).status_code == 429

    def test_being_known_for_one_account_buys_no_tries_at_another(self) -> None:
        make_user(username="mallory")
        make_user(username="nell")
        thief = Client()
        thief.post(reverse("login"), {"username": "mallory", "password": PASSWORD})
        cookie = thief.cookies["known"]
        assert cookie["httponly"]
        assert cookie["samesite"] == "Lax"
        assert "mallory" not in cookie.value
        thief.post(reverse("logout"))
        self.spoil("nell")
        assert thief.post(reverse("login"), {"username": "nell", "password": PASSWORD}).status_code == 429
        thief.cookies["known"] = "made:up:cookie"
        assert thief.post(reverse("login"), {"username": "nell", "password": PASSWORD}).status_code == 429


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


class TestAskedOfLeads:
    @pytest.fixture
    def series(self) -> Series:
        return make_series(title="The Slow River")

    def ask(self, client: Client, series: Series, on: bool) -> Any:
        page = client.get(reverse("people", args=[series.slug]))
        form = form_of(page, has="leads_need_second_factor")
        return form.fill(leads_need_second_factor="on" if on else None).press(client, "Save", follow=True)

    def test_a_lead_asks_for_it_who_has_one(self, series: Series) -> None:
        lead, other = make_member(series, "lead"), make_member(series, "lead", username="other-lead")
        client = client_of(lead)
        assert "Set up a second factor for yourself first" in text_of(self.ask(client, series, True))
        with_factor(lead)
        assert "Lead colourists here need a second factor from now on" in text_of(self.ask(client, series, True))
        page = text_of(client.get(reverse("people", args=[series.slug])))
        assert "With a password alone so far: other-lead" in page
        deeds = text_of(client.get(reverse("activity", args=[series.slug])))
        assert "changed the sign-in of lead colourists" in deeds
        self.hold_back(client_of(other), series)
        self.ask(client, series, False)
        assert client_of(other).get(reverse("edit-series", args=[series.slug])).status_code == 200
        assert Activity.objects.filter(series=series).count() == 2

    def hold_back(self, client: Client, series: Series) -> None:
        page = client.get(reverse("series", args=[series.slug]))
        assert "asks its lead colourists for a second factor" in text_of(page)
        assert link_of(page, "Set yours up") == reverse("second-factor")
        refused = client.get(reverse("edit-series", args=[series.slug]))
        assert refused.status_code == 403
        assert "until then you may do here what a fill-in colourist may" in text_of(refused)
        assert link_of(refused, "Set yours up") == reverse("second-factor")

    def test_what_a_lead_who_is_held_back_may_and_may_not(self, series: Series) -> None:
        series.leads_need_second_factor = True
        series.save()
        lead = make_member(series, "lead")
        client = client_of(lead)
        self.hold_back(client, series)
        assert client.get(reverse("new-issue", args=[series.slug])).status_code == 403
        assert client.get(reverse("bible", args=[series.slug])).status_code == 200
        assert "ask" in text_of(client.get(reverse("second-factor")))
        with_factor(lead)
        assert client.get(reverse("edit-series", args=[series.slug])).status_code == 200
        assert client.get(reverse("new-issue", args=[series.slug])).status_code == 200

    @pytest.mark.parametrize("role", ["fill-in", "editor", "guest"])
    def test_others_are_not_asked(self, series: Series, role: str) -> None:
        series.leads_need_second_factor = True
        series.save()
        client = client_of(make_member(series, role))
        page = client.get(reverse("people", args=[series.slug]))
        assert "Lead colourists here need a second factor" in text_of(page)
        assert "Set yours up" not in text_of(page)
        answer = client.post(reverse("lead-factor", args=[series.slug]), {"leads_need_second_factor": ""})
        assert answer.status_code == 403
        series.refresh_from_db()
        assert series.leads_need_second_factor

    def test_another_series_is_not_asked_for(self, series: Series) -> None:
        stranger = make_member(make_series(), "lead")
        with_factor(stranger)
        answer = client_of(stranger).post(
            reverse("lead-factor", args=[series.slug]), {"leads_need_second_factor": "on"}
        )
        assert answer.status_code == 404
        methods_are_refused(client_of(make_member(series)), reverse("lead-factor", args=[series.slug]), "get", "put")


class TestCommand:
    def run(self, *said: str) -> Any:
        out = io.StringIO()
        call_command("second_factor", *said, "--json", stdout=out)
        return json.loads(out.getvalue())

    def test_it_says_and_takes_off(self) -> None:
        user = make_user(username="nell")
        with_factor(user)
        client = client_of(user)
        assert self.run("nell") == {"name": "nell", "second_factor": True, "recovery_codes": 10, "removed": False}
        assert self.run("nell", "--remove")["removed"]
        assert self.run("nell", "--remove") == {
            "name": "nell", "second_factor": False, "recovery_codes": 0, "removed": False
        }  # fmt: skip
        assert client.get(reverse("account")).status_code == 302

    def test_nobody_of_that_name_is_said(self) -> None:
        with pytest.raises(SystemExit) as ended:
            self.run("nobody")
        assert ended.value.code == 2
        with pytest.raises(CommandError, match="Nobody signs in as “nobody”"):
            call_command("second_factor", "nobody")
