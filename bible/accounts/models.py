"""What a person signs in with besides the password, and where the person is signed in."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any, ClassVar, Self

from django.conf import settings
from django.contrib.sessions.base_session import AbstractBaseSession, BaseSessionManager
from django.db import models
from django.db.models import Exists, F, OuterRef, Q
from django.utils import timezone
from django.utils.crypto import salted_hmac

if TYPE_CHECKING:
    from django.contrib.auth.models import User

KEY_BYTES = 20
"""Of the secret that a person's device shares with us: as long as SHA-1's output (RFC 4226, section 4, R6)."""


def shared_key(user_key: int, salt: str) -> bytes:
    """The secret of a person's device. It is stored nowhere: it follows from the salt and the installation's key."""
    hashed = salted_hmac("bible.accounts.second_factor", f"{user_key}:{salt}", algorithm="sha256")
    return hashed.digest()[:KEY_BYTES]


class SecondFactorQuerySet(models.QuerySet["SecondFactor"]):
    def not_yet_shown_at(self, step: int) -> Self:
        """Those with which no code of this step of time, or of a later one, has been used."""
        return self.filter(last_step__lt=step)


class SecondFactor(models.Model):
    """A person signs in with codes of a device as well. The row is made when the first code was right."""

    user = models.OneToOneField(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="second_factor")
    salt = models.CharField(max_length=32, editable=False)
    since = models.DateTimeField(auto_now_add=True)
    last_step = models.BigIntegerField(default=0, editable=False)

    objects = SecondFactorQuerySet.as_manager()

    def __str__(self) -> str:
        return f"second factor of {self.user}"

    @property
    def key(self) -> bytes:
        return shared_key(self.user_id, self.salt)


class RecoveryCode(models.Model):
    """Stands in for the device, once: the row goes with its use. What is stored is a hash."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="recovery_codes")
    code_hash = models.CharField(max_length=64, editable=False)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["user", "code_hash"], name="bible_recovery_code_once")]

    def __str__(self) -> str:
        return f"recovery code of {self.user}"


def held_back() -> Q:
    """Memberships of leads whose series asks for a second factor that they have not set up."""
    has_one = Exists(SecondFactor.objects.filter(user=OuterRef("user")))
    return Q(Q(role="lead", series__leads_need_second_factor=True), ~Q(has_one))


class AccountSessionQuerySet(models.QuerySet["AccountSession"]):
    def of(self, user: User) -> Self:
        """Where this person is signed in, as far as the rows know, last used first."""
        return self.filter(user=user, expire_date__gt=timezone.now()).order_by(F("used_at").desc(nulls_last=True))


class AccountSessionManager(BaseSessionManager.from_queryset(AccountSessionQuerySet)):  # type: ignore[misc]
    pass


class AccountSession(AbstractBaseSession):
    """A browser's session, with whose it is and when it was last used."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, null=True, related_name="sessions")
    used_at = models.DateTimeField(null=True)

    objects: ClassVar[AccountSessionManager] = AccountSessionManager()

    class Meta:
        verbose_name = "session"

    @classmethod
    def get_session_store_class(cls) -> Any:
        return import_module(settings.SESSION_ENGINE).SessionStore

    @property
    def place(self) -> str:
        """What a page calls it by: the key itself would let whoever reads the page in."""
        return salted_hmac("bible.accounts.place", self.session_key, algorithm="sha256").hexdigest()[:32]
