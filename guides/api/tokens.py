"""Who asks: a token stands for one person's membership in one series, and dies with it.

Only the token's hash is stored. There are no cookies and no sign-in here, so ``tests/test_role_matrix.py`` knows
the API's addresses by a rule of their own.
"""

from __future__ import annotations

from django.http import HttpRequest
from ninja.security import HttpBearer

from bible.models import Membership, ReadToken


class TokenAuth(HttpBearer):
    """``Authorization: Bearer TOKEN``. Answers with the membership, or None (401)."""

    def authenticate(self, request: HttpRequest, token: str) -> Membership | None:
        read_token = (
            ReadToken.objects.usable()
            .with_token(token)
            .select_related("membership__series", "membership__user")
            .first()
        )
        if read_token is None:
            return None
        read_token.note_use()
        request.token = read_token  # type: ignore[attr-defined]
        return read_token.membership
