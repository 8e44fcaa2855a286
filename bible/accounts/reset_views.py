"""A new password for whoever has forgotten the old one: by a letter to the address of the account."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.models import User
from django.contrib.auth.views import PasswordResetConfirmView
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse_lazy
from django.views.decorators.cache import never_cache

from bible.accounts.devices import spelled
from bible.accounts.forms import ForgottenForm
from bible.accounts.services import end_sessions
from bible.accounts.tasks import ask_for_letter
from bible.web.access import everybody
from bible.web.limits import RESETS, RESETS_TO, address_of, spend
from bible.web.methods import forms_only


@never_cache
@everybody
@forms_only
def forgotten(request: HttpRequest) -> HttpResponse:
    """Where to send a link. The answer is the same, and takes as long, whether or not the address is anybody's."""
    form = ForgottenForm(request.POST if request.method == "POST" else None)
    context: dict[str, object] = {"form": form, "sends": settings.SENDS_MAIL}
    if settings.SENDS_MAIL and form.is_valid():
        email = form.cleaned_data["email"]
        spend(RESETS, address_of(request))
        spend(RESETS_TO, spelled(email))
        ask_for_letter(email=email)
        context["sent_to"] = email
    return render(request, "bible/accounts/forgotten.html", context, status=422 if form.errors else 200)


class NewPassword(PasswordResetConfirmView):
    """Where the link leads. A link that does not work looks like one that never was. Every session ends; a second
    factor stays, and is asked for at the next sign-in."""

    template_name = "bible/accounts/new_password.html"
    success_url = reverse_lazy("login")
    title = "A new password"

    def render_to_response(self, context: dict[str, Any], **more: Any) -> HttpResponse:
        if not self.validlink:
            raise Http404(
                "This link does not work: it is used, older than a day, or not quite copied. Ask for another."
            )
        return super().render_to_response(context, **more)

    def form_valid(self, form: Any) -> HttpResponse:
        answer = super().form_valid(form)
        user: User = form.user
        end_sessions(user=user)
        messages.success(self.request, "Your new password counts from now on. Sign in with it.")
        return answer

    def form_invalid(self, form: Any) -> HttpResponse:
        return self.render_to_response(self.get_context_data(form=form), status=422)
