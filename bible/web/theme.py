"""Light grey or dark grey: each person's choice, in a cookie, since it belongs to a screen as much as to a person.

Every grey has equal parts of red, green and blue and is named in ``static/bible/web/tokens.css`` alone, once for
light and dark (``light-dark()``); paper gets the light greys. A cookie needs no JavaScript.
"""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.http import HttpRequest, HttpResponse

COOKIE = "theme"
KEPT_FOR = 365 * 24 * 3600


class Theme(models.TextChoices):
    SYSTEM = "system", "System"
    LIGHT = "light", "Light"
    DARK = "dark", "Dark"


def chosen(request: HttpRequest) -> Theme:
    """What the cookie says; whatever else stands in it is no choice."""
    said = request.COOKIES.get(COOKIE, "")
    return Theme(said) if said in Theme.values else Theme.SYSTEM


def keep(response: HttpResponse, theme: Theme) -> None:
    if theme is Theme.SYSTEM:
        response.delete_cookie(COOKIE)
        return
    response.set_cookie(
        COOKIE, theme.value, max_age=KEPT_FOR, secure=settings.SESSION_COOKIE_SECURE, httponly=True, samesite="Lax"
    )


def theme(request: HttpRequest) -> dict[str, object]:
    """For every page: the choice, and what there is to choose from."""
    return {"theme": chosen(request), "themes": tuple(Theme)}
