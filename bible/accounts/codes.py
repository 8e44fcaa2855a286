"""Codes of a device (RFC 6238, by django-otp), the picture that takes the secret there, codes for its loss."""

from __future__ import annotations

import base64
import secrets
from urllib.parse import quote, urlencode

import segno
from django_otp.oath import TOTP

STEP_SECONDS, DIGITS = 30, 6
"""What devices take for granted: RFC 6238, section 5.2, and RFC 4226, section 5.3."""

STEPS_OFF = 1
"""A code may be one step old or early: for the time it takes to type, and clocks that are off (RFC 6238, 5.2)."""

ISSUER = "Colour bible"

RECOVERY_CODES = 10
RECOVERY_BYTES = 10
"""80 random bits, 16 letters: as hard to guess from its hash as it is at the door."""


def matching_step(key: bytes, code: str, *, now: float | None = None) -> int | None:
    """The step of time whose code this is, or None. ``now`` is seconds since 1970."""
    if not is_device_code(code):
        return None
    reader = TOTP(key, step=STEP_SECONDS, digits=DIGITS)
    if now is not None:
        reader.time = now
    return reader.t() if reader.verify(int(code), tolerance=STEPS_OFF) else None


def is_device_code(code: str) -> bool:
    return len(code) == DIGITS and code.isascii() and code.isdigit()


def tidied(code: str) -> str:
    """A code as it was typed, without spaces and hyphens, in small letters."""
    return "".join(sign for sign in code.lower() if not sign.isspace() and sign != "-")


def new_recovery_codes() -> list[str]:
    """As they are shown: four groups of four."""
    made = [base64.b32encode(secrets.token_bytes(RECOVERY_BYTES)).decode().lower() for _ in range(RECOVERY_CODES)]
    return ["-".join(code[at : at + 4] for at in range(0, len(code), 4)) for code in made]


def written_key(key: bytes) -> str:
    """The secret to type in by hand: base 32 (RFC 4648), in groups of four."""
    text = base64.b32encode(key).decode()
    return " ".join(text[at : at + 4] for at in range(0, len(text), 4))


def key_address(key: bytes, username: str) -> str:
    """The secret as an address that devices read from a picture (the “Key URI Format” that they share)."""
    query = urlencode({"secret": base64.b32encode(key).decode(), "issuer": ISSUER}, quote_via=quote)
    return f"otpauth://totp/{quote(ISSUER)}:{quote(username)}?{query}"


def picture(address: str) -> str:
    """A QR code (ISO/IEC 18004) as SVG, drawn here: the secret is told to nobody else. On white with the quiet zone
    that the standard asks for, whatever the theme."""
    return segno.make(address, error="m").svg_inline(border=4, dark="#000", light="#fff", omitsize=True)
