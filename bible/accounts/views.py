"""One's account: password, second factor, where one is signed in."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.views import PasswordChangeView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse_lazy
from django.utils.safestring import mark_safe
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters

from bible.accounts import services
from bible.accounts.codes import key_address, picture, written_key
from bible.accounts.forms import OwnPasswordForm, SetUpForm
from bible.models import RecoveryCode, SecondFactor, Series, shared_key
from bible.series.refusals import Refused
from bible.web.access import SignedInRequest, anybody
from bible.web.limits import OLD_PASSWORD, forget, spend
from bible.web.methods import forms_only, posts_only, reads_only
from bible.web.names import counted

NEW_SALT = "new_second_factor"
"""Where a session keeps what the secret that is being shown follows from."""


EVERYWHERE = "everywhere"
"""Instead of a place: all but this one."""


@never_cache
@anybody
@reads_only
def account(request: SignedInRequest) -> HttpResponse:
    sessions = services.live_sessions(request.user)
    context = {
        "factor": SecondFactor.objects.filter(user=request.user).first(),
        "codes_left": RecoveryCode.objects.filter(user=request.user).count(),
        "asked_by": Series.objects.ask_of_lead(request.user),
        "sessions": [(session, session.session_key == request.session.session_key) for session in sessions],
    }
    return render(request, "bible/accounts/account.html", context)


@anybody
@posts_only
def sign_out_there(request: SignedInRequest) -> HttpResponse:
    """End one other session, or all of them."""
    place = request.POST.get("place", "")
    here = request.session.session_key
    ended = services.end_sessions(user=request.user, but=here, place="" if place == EVERYWHERE else place or "none")
    if ended:
        messages.success(request, f"Signed out in {counted(ended, 'other place')}.")
    else:
        messages.info(request, "Nobody is signed in there any more.")
    return redirect("account")


@sensitive_post_parameters()
@never_cache
@anybody
@forms_only
def second_factor(request: SignedInRequest) -> HttpResponse:
    """Set one up, or see that there is one. The recovery codes are shown this once: only their hashes are kept."""
    if services.has_second_factor(request.user):
        return _factor_page(request, OwnPasswordForm(request.user))
    salt = request.session.setdefault(NEW_SALT, services.new_salt())
    form = _set_up_form(request, salt)
    if form.is_valid():
        try:
            codes = services.set_up(user=request.user, salt=salt, step=form.step)
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            _passed(request)
            return render(request, "bible/accounts/recovery_codes.html", {"codes": codes, "new": True})
    return _set_up_page(request, form)


def _set_up_page(request: SignedInRequest, form: SetUpForm) -> HttpResponse:
    address = key_address(form.key, request.user.get_username())
    context = {
        "form": form,
        "picture": mark_safe(picture(address)),  # drawn by the library from an address of ours, percent-encoded
        "written": written_key(form.key),
        "asked_by": Series.objects.ask_of_lead(request.user),
    }
    return render(request, "bible/accounts/set_up.html", context, status=422 if form.errors else 200)


def _set_up_form(request: SignedInRequest, salt: str) -> SetUpForm:
    key = shared_key(request.user.pk, salt)
    if request.method != "POST":
        return SetUpForm(request.user, key)
    spend(OLD_PASSWORD, request.user.pk)
    return SetUpForm(request.user, key, request.POST)


def _passed(request: SignedInRequest) -> None:
    """Whoever is signed in from now on has shown a code: elsewhere one signs in again."""
    forget(OLD_PASSWORD, request.user.pk)
    del request.session[NEW_SALT]
    request.session.cycle_key()
    services.end_sessions(user=request.user, but=request.session.session_key)


def _factor_page(request: SignedInRequest, form: OwnPasswordForm) -> HttpResponse:
    context = {
        "form": form,
        "factor": SecondFactor.objects.get(user=request.user),
        "codes_left": RecoveryCode.objects.filter(user=request.user).count(),
        "asked_by": Series.objects.ask_of_lead(request.user),
    }
    return render(request, "bible/accounts/second_factor.html", context, status=422 if form.errors else 200)


def _asked(request: SignedInRequest) -> OwnPasswordForm:
    """The password again, before anything about the second factor is changed."""
    spend(OLD_PASSWORD, request.user.pk)
    form = OwnPasswordForm(request.user, request.POST)
    if form.is_valid():
        forget(OLD_PASSWORD, request.user.pk)
    return form


@sensitive_post_parameters()
@never_cache
@anybody
@posts_only
def new_codes(request: SignedInRequest) -> HttpResponse:
    """Other recovery codes, shown this once."""
    if not services.has_second_factor(request.user):
        return redirect("second-factor")
    form = _asked(request)
    if not form.is_valid():
        return _factor_page(request, form)
    codes = services.renew_codes(user=request.user)
    return render(request, "bible/accounts/recovery_codes.html", {"codes": codes})


@sensitive_post_parameters()
@never_cache
@anybody
@posts_only
def remove_factor(request: SignedInRequest) -> HttpResponse:
    if not services.has_second_factor(request.user):
        return redirect("second-factor")
    form = _asked(request)
    if not form.is_valid():
        return _factor_page(request, form)
    services.remove(user=request.user)
    messages.success(request, "You sign in with your password alone from now on.")
    return redirect("account")


class ChangePassword(PasswordChangeView):
    """One's own password. Every other session of the account ends, as its key is made with the password's hash."""

    template_name = "bible/accounts/change_password.html"
    success_url = reverse_lazy("account")

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        spend(OLD_PASSWORD, request.user.pk)
        return super().post(request, *args, **kwargs)

    def form_valid(self, form: Any) -> HttpResponse:
        forget(OLD_PASSWORD, self.request.user.pk)
        answer = super().form_valid(form)
        services.end_sessions(user=form.user, but=self.request.session.session_key)
        messages.success(self.request, "Your password is changed. You are signed out everywhere else.")
        return answer

    def form_invalid(self, form: Any) -> HttpResponse:
        return self.render_to_response(self.get_context_data(form=form), status=422)
