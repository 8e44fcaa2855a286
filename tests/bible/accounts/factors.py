"""Accounts with a second factor, and codes for it."""

from __future__ import annotations

from django.contrib.auth.models import User

from bible.accounts import services
from bible.models import SecondFactor


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
