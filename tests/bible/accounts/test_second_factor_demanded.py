"""A second factor slowed down, asked of leads, and taken off by command."""

from __future__ import annotations

import io
import json
import re
from typing import Any

import pytest
from django.contrib.auth import get_user
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from bible.models import Activity, Series
from bible.web.limits import SIGN_IN
from tests.bible.accounts.factors import code_of, with_factor, wrong_code
from tests.factories import PASSWORD, make_member, make_series, make_user
from tests.forms import form_of, link_of, text_of
from tests.pages import client_of, methods_are_refused

pytestmark = pytest.mark.django_db


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
