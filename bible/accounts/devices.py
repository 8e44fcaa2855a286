"""Browsers: what they are called, and which ones somebody has signed in from before.

A browser in which somebody has signed in rightly keeps a token that says so. Tries from it are counted by themselves,
so nobody who only knows the name, wherever they sit, can use them up.
"""

from __future__ import annotations

import re
import secrets
import unicodedata
from typing import Any

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponseBase
from django.utils.crypto import constant_time_compare, salted_hmac

COOKIE = "known"
KEPT_FOR = 365 * 24 * 3600
"""Seconds; each sign-in begins them anew."""

_SALT = "bible.accounts.known"

BROWSERS = (
    ("Edge", r"\bEdg(e|A|iOS)?/"),
    ("Opera", r"\bOPR/"),
    ("Firefox", r"\b(Firefox|FxiOS)/"),
    ("Chrome", r"\b((Headless)?Chrome|Chromium|CriOS)/"),
    ("Safari", r"\bVersion/.*\bSafari/"),
)
"""In the order of asking: those further up also say that they are those further down. Nearly all
say “Safari”; it alone gives its version beside it."""

SYSTEMS = (
    ("iPhone", r"\biPhone\b"),
    ("iPad", r"\biPad\b"),
    ("Android", r"\bAndroid\b"),
    ("Windows", r"\bWindows\b"),
    ("a Mac", r"\bMacintosh\b"),
    ("ChromeOS", r"\bCrOS\b"),
    ("Linux", r"\b(Linux|X11)\b"),
)


def device_words(agent: str) -> str:
    """“Firefox on Linux”, from what a browser says of itself (RFC 9110, section 10.1.5); anybody may say anything."""
    browser = next((name for name, sign in BROWSERS if re.search(sign, agent)), "")
    system = next((name for name, sign in SYSTEMS if re.search(sign, agent)), "")
    return f"{browser or 'another browser'}{f' on {system}' if system else ''}"


def note_device(request: HttpRequest, **_: Any) -> None:
    """Write into a session that begins what its browser is called: sent when somebody has signed in."""
    request.session["device"] = device_words(request.headers.get("User-Agent", ""))


def spelled(username: str) -> str:
    """A name as it was typed, in one spelling: how it is written must not buy more tries."""
    return unicodedata.normalize("NFKC", username[:200]).strip().casefold()


def _named(account: str) -> str:
    return salted_hmac(_SALT, account, algorithm="sha256").hexdigest()


def known_as(request: HttpRequest, account: str) -> str:
    """What a browser is counted by that this account has been signed in from; empty for any other."""
    try:
        whose, token = signing.loads(request.COOKIES.get(COOKIE, ""), salt=_SALT, max_age=KEPT_FOR)
    except (signing.BadSignature, ValueError, TypeError):
        return ""
    return str(token) if constant_time_compare(str(whose), _named(account)) else ""


def remember(response: HttpResponseBase, account: str) -> None:
    """Let this browser be known from now on. What it keeps names nobody."""
    signed = signing.dumps([_named(account), secrets.token_urlsafe(16)], salt=_SALT)
    secure = settings.SESSION_COOKIE_SECURE
    response.set_cookie(COOKIE, signed, max_age=KEPT_FOR, secure=secure, httponly=True, samesite="Lax")
