"""How often somebody may do what costs the server much, and try passwords: every limit with its reason.

Each limit is far above a busy hand. It says how many go at once, and after how many seconds there is one more: the
“generic cell rate algorithm” (ITU-T I.371), which needs one number a person and no clearing of windows.

One number a person in the database (``Allowance``), spent by one conditional UPDATE: stateless workers agree
without a cache server, and what is refused costs nothing. Sign-ins count for account and address together, so that
nobody can lock another person out.
"""

from __future__ import annotations

import ipaddress
import math
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any

from django.conf import settings
from django.db.models import F
from django.http import HttpRequest, HttpResponseBase
from django.utils.crypto import salted_hmac

from bible.models import Allowance

SWEEP = 200
"""Rows cleared away at a time: more than a sign-in makes, so that none pile up."""


@dataclass(frozen=True, slots=True)
class Limit:
    """``at_once`` go through together, then one more every ``every`` seconds. ``words`` end “That was …”."""

    name: str
    at_once: int
    every: float
    words: str

    @property
    def span(self) -> float:
        return self.at_once * self.every


# A person mistypes a few times and then waits a minute; at one a minute a list of 10,000 usual passwords takes a
# week, and none of those is accepted here. Held for account and address together: nobody locks another one out.
SIGN_IN = Limit("sign-in", 10, 60, "too many wrong passwords from here for this account")
# Six digits, three of which are right at a time: at twelve an hour a year of trying finds one in three times, and
# whoever tries has the password already. Counted for the account; recovery codes are not, so its person gets in.
CODES = Limit(
    "codes", 6, 300, "too many wrong codes for this account. A recovery code works at once; device codes do not"
)
# A whole office may come from one address and sign in at nine o'clock.
SIGN_IN_ADDRESS = Limit("sign-in-address", 100, 10, "too many sign-ins from here")
# A crew of thirty may follow its invitations in one afternoon from one office; an invitation makes one account only,
# so this is about trying names out, which the form would tell to be taken.
NEW_ACCOUNTS = Limit("new-accounts", 60, 60, "a lot of new accounts from here")
# A person has one address and forgets one password; a crew may come back from a holiday together.
RESETS = Limit("resets", 20, 120, "a lot of letters for new passwords from here")
# Each is a letter to somebody who may not have asked; all of them arrive and each works, so nobody is kept out.
RESETS_TO = Limit("resets-to", 3, 1200, "a lot of letters to this address; they may take a while to arrive")
# The old password is asked for: a screen left open must not let somebody try it.
OLD_PASSWORD = Limit("old-password", 10, 60, "too many tries to change this password")
# A lead takes a whole crew in on one evening; each is a row that stays.
INVITATIONS = Limit("invitations", 60, 30, "a lot of invitations")
# Tokens kept are limited already (MOST_READ_TOKENS); this is about making and withdrawing in turn.
TOKENS = Limit("tokens", 40, 60, "a lot of tokens")
# A person has one address, or mistypes it; each is a letter to somebody who may not have asked for it.
CONFIRMATIONS = Limit("confirmations", 5, 600, "a lot of addresses to confirm")
# Made, tried and renewed by a lead; each try is a message to another machine.
WEBHOOKS = Limit("webhooks", 30, 60, "a lot of messages to other programs")
# A year's pages at once (12 issues of 32), and then one page every two seconds, faster than any scanner.
PICTURES = Limit("pictures", 400, 2, "a lot of pictures at once")
# Reading a proof takes seconds of a whole core; an issue's 32 pages twice over, and nobody looks at ten a minute.
PROOF_READINGS = Limit("proof-readings", 64, 6, "a lot of proofs to read")
# One asks for as many pages as a request has time for; a person presses again when it is done.
PAINT_READINGS = Limit("paint-readings", 60, 5, "a lot of paint to read")
# Changed lines of a sheet of found codes ask for the others anew, half a second each: ten pages of them in a row fit.
SHEETS = Limit("sheets", 300, 1, "a lot of sheets to ask anew")
# A booklet takes a worker for up to a minute; a series makes one at a time, but a person may have many.
BOOKLETS = Limit("booklets", 20, 30, "a lot of booklets")
# PDFs and packs are set while one waits, up to seconds each: every page of a double issue, one after the other.
PAPER = Limit("paper", 120, 3, "a lot of files to make")
# A plate or print is drawn once and kept; a guide has fifteen plates, and sixty pages of them fit.
PRINTS = Limit("prints", 1000, 1, "a lot of printed pages to draw")
# Whole lists as CSV and JSON. A script that fetches every list of a series each hour fits.
LISTS = Limit("lists", 300, 2, "a lot of whole lists")
# A file of rows is parsed, tried and rolled back each time it is shown.
TABLES = Limit("tables", 90, 4, "a lot of tables to try")
# Each asks for somebody's answer: a whole cast at once, and then two a minute, more than a lead answers.
PROPOSALS = Limit("proposals", 200, 30, "a lot of proposals")
# Fitting a press condition or looking a chart through takes up to seconds; one tries a few files, not hundreds.
FITS = Limit("fits", 60, 5, "a lot of charts and measurements to work through")
# Two scans are registered for each look at what would be carried: an issue's pages, looked at several times.
CARRIES = Limit("carries", 200, 3, "a lot of pages to lay over each other")


class TooMany(Exception):
    """More than a limit allows; ``wait`` is in seconds."""

    def __init__(self, limit: Limit, wait: int) -> None:
        self.limit, self.wait = limit, wait
        super().__init__(f"That was {limit.words}. Try again in {in_words(wait)}.")


def in_words(seconds: int) -> str:
    if seconds < 100:
        return f"{seconds} second{'' if seconds == 1 else 's'}"
    return f"{math.ceil(seconds / 60)} minutes"


def spend(limit: Limit, *who: object, cost: int = 1) -> None:
    """Count one deed (``cost`` of them) of somebody.

    Raises:
        TooMany: there is no room for it now. What is refused is not counted.
    """
    now, price = time.time(), min(cost, limit.at_once) * limit.every
    if Allowance.spend(key(limit, *who), now=now, span=limit.span, cost=price):
        return
    used = Allowance.objects.of(key(limit, *who)).values_list("used_until", flat=True).first() or now
    raise TooMany(limit, max(1, math.ceil(used + price - limit.span - now)))


def give_back(limit: Limit, *who: object) -> None:
    """The deed turned out to be none that is limited: a sign-in that was right."""
    Allowance.objects.of(key(limit, *who)).update(used_until=F("used_until") - limit.every)


def forget(limit: Limit, *who: object) -> None:
    Allowance.objects.of(key(limit, *who)).delete()


def key(limit: Limit, *who: object) -> str:
    text = "\x00".join(str(part) for part in (limit.name, *who))
    return salted_hmac("bible.web.limits", text, algorithm="sha256").hexdigest()


def sweep() -> None:
    """Clear away what says nothing any more. Called at each sign-in: strangers' addresses are what piles up."""
    old = Allowance.objects.run_out(time.time()).order_by("used_until").values_list("pk", flat=True)[:SWEEP]
    # By the moment again: a row that was used since it was read stays.
    Allowance.objects.run_out(time.time()).filter(pk__in=list(old)).delete()


def limited(
    limit: Limit, *methods: str, cost: Callable[[HttpRequest], int] = lambda request: 1
) -> Callable[[Callable[..., HttpResponseBase]], Callable[..., HttpResponseBase]]:
    """Count a view's requests for the person, POST alone unless said otherwise. It goes below ``@member``: who may
    not do something at all is told that first, and pays nothing."""
    counted = methods or ("POST",)

    def decorate(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
        @wraps(view)
        def counting(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if request.method in counted:
                spend(limit, request.user.pk, cost=cost(request))
            return view(request, *args, **kwargs)

        counting.limit = limit  # type: ignore[attr-defined]
        return counting

    return decorate


def address_of(request: HttpRequest) -> str:
    """Whom to count as one stranger: an IPv4 address, or an IPv6 network of one subscriber (/64, RFC 6177 section 2).

    Behind ``PROXIES`` web servers of ours the last that many entries of ``X-Forwarded-For`` are theirs; what stands
    further left was said by the stranger and proves nothing.
    """
    claimed = request.META.get("REMOTE_ADDR", "")
    passed = [entry.strip() for entry in request.headers.get("X-Forwarded-For", "").split(",") if entry.strip()]
    if settings.PROXIES and passed:
        claimed = passed[-min(settings.PROXIES, len(passed))]
    try:
        address = ipaddress.ip_address(claimed)
    except ValueError:
        return "unknown"
    if isinstance(address, ipaddress.IPv6Address):
        if address.ipv4_mapped:
            return str(address.ipv4_mapped)
        return str(ipaddress.ip_network((address, 64), strict=False))
    return str(address)
