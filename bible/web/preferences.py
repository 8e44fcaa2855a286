"""What each person chooses once for every page: light or dark grey, A4 or US Letter. Each stands in a cookie, since
it belongs to a screen and its printer as much as to a person; a cookie needs no JavaScript.

Every grey has equal parts of red, green and blue and is named in ``static/bible/web/tokens.css`` alone, once for
light and dark (``light-dark()``); paper gets the light greys.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Generic, TypeVar

from django.conf import settings
from django.db import models
from django.http import HttpRequest, HttpResponse

KEPT_FOR = 365 * 24 * 3600


class Theme(models.TextChoices):
    SYSTEM = "system", "System"
    LIGHT = "light", "Light"
    DARK = "dark", "Dark"


class PaperSize(models.TextChoices):
    """What a printer is filled with: ISO 216, or ANSI/ASME Y14.1 A (US Letter)."""

    A4 = "a4", "A4"
    LETTER = "letter", "Letter"


Kind = TypeVar("Kind", bound=models.TextChoices)


@dataclass(frozen=True, slots=True)
class Preference(Generic[Kind]):
    """One choice. ``name`` is that of its cookie and of its field, ``usual`` holds where nobody has chosen."""

    name: str
    kinds: type[Kind]
    usual: Kind

    def chosen(self, request: HttpRequest) -> Kind:
        """What the cookie says; whatever else stands in it is no choice."""
        value = request.COOKIES.get(self.name, "")
        return self.kinds(value) if value in self.kinds.values else self.usual

    def keep(self, response: HttpResponse, kind: Kind) -> None:
        if kind == self.usual:
            response.delete_cookie(self.name)
            return
        secure = settings.SESSION_COOKIE_SECURE
        response.set_cookie(self.name, kind.value, max_age=KEPT_FOR, secure=secure, httponly=True, samesite="Lax")

    @property
    def words(self) -> str:
        """“System, Light or Dark”."""
        *others, last = self.kinds.labels
        return f"{', '.join(others)} or {last}"


THEME = Preference("theme", Theme, Theme.SYSTEM)
PAPER_SIZE = Preference("paper", PaperSize, PaperSize.A4)


def preferences(request: HttpRequest) -> dict[str, object]:
    """For every page: the choices, and what there is to choose from."""
    return {
        "theme": THEME.chosen(request),
        "themes": tuple(Theme),
        "paper": PAPER_SIZE.chosen(request),
        "papers": tuple(PaperSize),
    }
