"""Letters with a link to a new password, sent in the background."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.models import User
from django.contrib.auth.tokens import default_token_generator
from django.core.mail import EmailMessage
from django.urls import reverse
from django.utils.crypto import get_random_string
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode

from bible.models.naming import name_of
from bible.tasks.backend import background
from bible.tasks.progress import Progress
from bible.tasks.services import enqueue
from bible.web.addresses import whole


def ask_for_letter(*, email: str) -> None:
    """Have letters sent to the accounts with this address, if there are any; it takes as long where there are none.

    The queue is told keys, and never what somebody typed.
    """
    people = list(
        User.objects.filter(email__iexact=email, is_active=True).exclude(email="").values_list("pk", flat=True)
    )
    enqueue(send_links, key=f"new-password-{get_random_string(12)}", by=None, people=people)


@background(words="being sent", seconds=60, tries=5, priority=5)
def send_links(context: Progress, *, people: list[int]) -> None:
    """A link each: somebody may have an account at two places of the house with one address."""
    for user in User.objects.filter(pk__in=people, is_active=True).exclude(email=""):
        if user.has_usable_password():
            letter(user).send()


def letter(user: Any) -> EmailMessage:
    key = urlsafe_base64_encode(force_bytes(user.pk))
    link = whole(reverse("new-password", args=[key, default_token_generator.make_token(user)]))
    body = (
        f"{name_of(user)},\n\nsomebody, perhaps you, asks for a new password for your account “{user.get_username()}”"
        f" at {whole('/')}\nOpen this within a day, and choose one:\n\n{link}\n\n"
        "If it was not you, do nothing: your password stays as it is, and nobody else has this link."
    )
    return EmailMessage("A new password", body, to=[user.email], headers={"Auto-Submitted": "auto-generated"})
