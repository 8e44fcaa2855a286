"""Signing in, in one step or two, and out again."""

from __future__ import annotations

import time
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.models import User
from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.crypto import constant_time_compare
from django.views.decorators.cache import never_cache

from bible.accounts.codes import is_device_code, tidied
from bible.accounts.devices import known_as, remember, spelled
from bible.accounts.forms import CodeForm, SlowedSignInForm
from bible.accounts.services import check, has_second_factor
from bible.models import RecoveryCode
from bible.web.access import everybody
from bible.web.limits import (
    SIGN_IN,
    SIGN_IN_ADDRESS,
    TooMany,
    address_of,
    forget,
    give_back,
    spend,
    sweep,
)
from bible.web.methods import forms_only
from bible.web.names import counted

BACKEND = "django.contrib.auth.backends.ModelBackend"
HALF_WAY = "second_step"
"""Where a session keeps who has given the right password and not yet a code."""

HALF_WAY_FOR = 10 * 60
"""Seconds for the second step: to find the device."""


class SignIn(LoginView):
    """Tries are counted before the password is looked at, alike for accounts that exist and that don't.

    They are counted for account and network together, so nobody elsewhere can lock a person out; from a browser that
    the account was signed in from before, for that browser, so nobody in the same house can; and whoever has a second
    factor may give password and code at once instead of waiting.
    """

    template_name = "bible/accounts/sign_in.html"
    http_method_names = ["get", "head", "post"]

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        sweep()
        try:
            if not self._known:
                spend(SIGN_IN_ADDRESS, address_of(request))
            spend(SIGN_IN, self._account, self._place)
        except TooMany as refusal:
            return self._both_at_once(refusal) if refusal.limit is SIGN_IN else self._slowed(refusal)
        return super().post(request, *args, **kwargs)

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """Only the pair is forgiven: with an account of one's own nobody earns tries at other people's."""
        user: Any = form.get_user()
        if has_second_factor(user):
            return self._half_way(user)
        return self._let_in(user)

    def _both_at_once(self, refusal: TooMany) -> HttpResponse:
        """What is wrong is not said: with the password's being right told, this would be a way to try passwords."""
        form = SlowedSignInForm(self.request, self.request.POST)
        if not self.request.POST.get("code") or not form.is_valid():
            return self._slowed(refusal)
        user: Any = form.get_user()
        try:
            right = check(user=user, code=form.cleaned_data["code"])
        except TooMany:
            right = False
        return self._let_in(user) if right else self._slowed(refusal)

    def _let_in(self, user: User) -> HttpResponse:
        forget(SIGN_IN, self._account, self._place)
        if not self._known:
            give_back(SIGN_IN_ADDRESS, address_of(self.request))
        login(self.request, user, backend=BACKEND)
        answer = redirect(self.get_success_url())
        remember(answer, self._account)
        return answer

    def _half_way(self, user: User) -> HttpResponse:
        """A new key for the session, so that nobody who planted this one is half way in as well."""
        self.request.session.cycle_key()
        self.request.session[HALF_WAY] = {
            "user": user.pk,
            "stamp": user.get_session_auth_hash(),
            "at": time.time(),
            "account": self._account,
            "place": self._place,
            "next": self.get_success_url(),
        }
        return redirect("sign-in-code")

    def _slowed(self, refusal: TooMany) -> HttpResponse:
        form = SlowedSignInForm(self.request) if refusal.limit is SIGN_IN else self.get_form_class()(self.request)
        page = self.render_to_response(self.get_context_data(form=form, refusal=str(refusal)), status=429)
        page.headers["Retry-After"] = str(refusal.wait)
        return page

    @property
    def _account(self) -> str:
        return spelled(self.request.POST.get("username", ""))

    @property
    def _known(self) -> str:
        return known_as(self.request, self._account)

    @property
    def _place(self) -> str:
        return self._known or address_of(self.request)


def _half_way_in(request: HttpRequest) -> User | None:
    """Who has given the right password in this session, a moment ago; nobody once it has been changed."""
    half_way = request.session.get(HALF_WAY) or {}
    if time.time() - half_way.get("at", 0) > HALF_WAY_FOR:
        return None
    user = User.objects.filter(pk=half_way["user"], is_active=True).first()
    return user if user and constant_time_compare(user.get_session_auth_hash(), half_way["stamp"]) else None


@never_cache
@everybody
@forms_only
def second_step(request: HttpRequest) -> HttpResponse:
    """The code, after the password. Without a right password a moment ago there is nothing to be had here."""
    user = _half_way_in(request)
    form = CodeForm(request.POST if request.method == "POST" else None)
    if user is None:
        return render(request, "bible/accounts/second_step.html", {"form": None})
    if form.is_valid():
        code = form.cleaned_data["code"]
        if check(user=user, code=code):
            return _through(request, user, code)
        form.add_error("code", "This code is not right, or it has been used already. Each one is good once.")
    context = {"form": form, "account": user}
    return render(request, "bible/accounts/second_step.html", context, status=422 if form.errors else 200)


def _through(request: HttpRequest, user: User, code: str) -> HttpResponse:
    half_way = request.session.pop(HALF_WAY)
    forget(SIGN_IN, half_way["account"], half_way["place"])
    if half_way["place"] == address_of(request):
        give_back(SIGN_IN_ADDRESS, half_way["place"])
    login(request, user, backend=BACKEND)
    if not is_device_code(tidied(code)):
        left = RecoveryCode.objects.filter(user=user).count()
        messages.warning(request, f"That recovery code is used up; you have {counted(left, 'more', 'more')}.")
    answer = redirect(half_way["next"] or settings.LOGIN_REDIRECT_URL)
    remember(answer, half_way["account"])
    return answer


class SignOut(LogoutView):
    """Browsers throw away what they keep of us: pages and pictures that Back would show to whoever sits down next.

    The cache alone (W3C Clear Site Data, section 3.1): storage holds what the desk has not sent yet.
    """

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        answer = super().dispatch(request, *args, **kwargs)
        if request.method == "POST":
            answer.headers["Clear-Site-Data"] = '"cache"'
        return answer
