"""Setting a second factor up and checking it, and ending sessions. Keyword-only and atomic."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import IntegrityError, transaction
from django.utils.crypto import get_random_string

from bible.accounts.codes import is_device_code, matching_step, new_recovery_codes, tidied
from bible.models import AccountSession, RecoveryCode, SecondFactor, hashed
from bible.series.refusals import Refused
from bible.web.limits import CODES, forget, spend

if TYPE_CHECKING:
    from django.contrib.auth.models import User


def new_salt() -> str:
    return get_random_string(32)


def has_second_factor(user: User) -> bool:
    return SecondFactor.objects.filter(user=user).exists()


@transaction.atomic
def set_up(*, user: User, salt: str, step: int) -> list[str]:
    """Begin to ask for codes. Returns the recovery codes, which are shown once.

    Args:
        step: of the code that has shown that the device has the secret; it is used up by that.
    """
    try:
        with transaction.atomic():
            SecondFactor.objects.create(user=user, salt=salt, last_step=step)
    except IntegrityError as error:
        raise Refused("A second factor is set up already, in another window.") from error
    return renew_codes(user=user)


@transaction.atomic
def renew_codes(*, user: User) -> list[str]:
    """New recovery codes; the old ones open nothing any more."""
    RecoveryCode.objects.filter(user=user).delete()
    made = new_recovery_codes()
    RecoveryCode.objects.bulk_create(RecoveryCode(user=user, code_hash=hashed(tidied(code))) for code in made)
    return made


@transaction.atomic
def remove(*, user: User) -> bool:
    """Sign in with the password alone from now on. False where there was nothing to remove."""
    RecoveryCode.objects.filter(user=user).delete()
    return bool(SecondFactor.objects.filter(user=user).delete()[0])


def check(*, user: User, code: str) -> bool:
    """Whether this code is right now, once: the same one is wrong the next time, whoever is faster.

    Six digits can be guessed by whoever has the password, so tries at them are counted for the account from wherever
    they come. Recovery codes cannot be guessed and are not counted: those always let their person in.

    Raises:
        TooMany: codes of the device were tried too often.
    """
    code = tidied(code)
    if not is_device_code(code):
        return bool(RecoveryCode.objects.filter(user=user, code_hash=hashed(code)).delete()[0])
    spend(CODES, user.pk)
    factor = SecondFactor.objects.filter(user=user).first()
    step = matching_step(factor.key, code) if factor else None
    if factor is None or step is None:
        return False
    if not SecondFactor.objects.filter(pk=factor.pk).not_yet_shown_at(step).update(last_step=step):
        return False
    forget(CODES, user.pk)
    return True


def live_sessions(user: User) -> list[AccountSession]:
    """Where this person is signed in: sessions from before the last new password say they are, and are not."""
    stamp = user.get_session_auth_hash()
    return [
        session
        for session in AccountSession.objects.of(user)
        if session.get_decoded().get("_auth_user_hash") == stamp
    ]


def end_sessions(*, user: User, but: str | None = None, place: str = "") -> int:
    """Sign this person out: everywhere, save in the session with the key ``but``; or at one ``place`` only.

    Returns how many sessions that were.
    """
    rows = AccountSession.objects.filter(user=user).exclude(session_key=but or "")
    keys = [session.session_key for session in rows if place in ("", session.place)]
    return int(AccountSession.objects.filter(session_key__in=keys).delete()[0])
