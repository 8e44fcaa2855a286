"""Signing in, and changing one's own password."""

from __future__ import annotations

import unicodedata
from typing import Any

from django.contrib import messages
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView, PasswordChangeView
from django.http import HttpRequest, HttpResponse
from django.urls import reverse_lazy

from bible.limits import OLD_PASSWORD, SIGN_IN, SIGN_IN_ADDRESS, TooMany, address_of, forget, give_back, spend, sweep


class SignIn(LoginView):
    """Tries are counted before the password is looked at, alike for accounts that exist and that don't."""

    template_name = "bible/sign_in.html"

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        sweep()
        try:
            spend(SIGN_IN_ADDRESS, address_of(request))
            spend(SIGN_IN, self._account(), address_of(request))
        except TooMany as refusal:
            form = self.get_form_class()(request)
            page = self.render_to_response(self.get_context_data(form=form, refusal=str(refusal)), status=429)
            page.headers["Retry-After"] = str(refusal.wait)
            return page
        return super().post(request, *args, **kwargs)

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """Only the pair is forgiven: with an account of one's own nobody earns tries at other people's."""
        forget(SIGN_IN, self._account(), address_of(self.request))
        give_back(SIGN_IN_ADDRESS, address_of(self.request))
        return super().form_valid(form)

    def _account(self) -> str:
        """The name as it was typed, in one spelling: how it is written must not buy more tries."""
        return unicodedata.normalize("NFKC", self.request.POST.get("username", "")[:200]).strip().casefold()


class ChangePassword(PasswordChangeView):
    """One's own password. Every other session of the account ends, as its key is made with the password's hash."""

    template_name = "bible/change_password.html"
    success_url = reverse_lazy("home")

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        spend(OLD_PASSWORD, request.user.pk)
        return super().post(request, *args, **kwargs)

    def form_valid(self, form: Any) -> HttpResponse:
        forget(OLD_PASSWORD, self.request.user.pk)
        messages.success(self.request, "Your password is changed. You are signed out everywhere else.")
        return super().form_valid(form)

    def form_invalid(self, form: Any) -> HttpResponse:
        return self.render_to_response(self.get_context_data(form=form), status=422)
