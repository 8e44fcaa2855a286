"""How one wants word; and for leads, which programs are told and what came of it."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.models import User
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache

from bible.exports.tables import answer, wanted
from bible.models import LOG_SHOWN, Series, WebhookDelivery
from bible.models.permissions import Permission
from bible.notices import services
from bible.notices.exports import deliveries_table
from bible.notices.forms import NoticesForm, WebhookForm
from bible.notices.letters import confirmation, confirmed
from bible.series.refusals import Refused
from bible.web.access import MemberRequest, SignedInRequest, anybody, member
from bible.web.limits import CONFIRMATIONS, WEBHOOKS, limited, spend
from bible.web.methods import FORM, POST, forms_only, reads_only


@never_cache
@anybody
@forms_only
def notices(request: SignedInRequest) -> HttpResponse:
    """Where to, how often. Another address is asked first whether it is theirs."""
    form = NoticesForm(request.user, request.POST if request.method == "POST" else None)
    if not form.is_valid():
        context = {"form": form, "sends": settings.SENDS_MAIL}
        return render(request, "bible/notices/notices.html", context, status=422 if form.errors else 200)
    services.choose(user=request.user, everywhere=form.cleaned_data["everywhere"], by_series=form.by_series)
    email = form.cleaned_data["email"]
    if not email:
        User.objects.filter(pk=request.user.pk).update(email="")
    elif email != request.user.email:
        spend(CONFIRMATIONS, request.user.pk)
        confirmation(request.user.pk, email).send()
        messages.info(request, f"A letter is on its way to {email}: open the link in it, then the address counts.")
    messages.success(request, "Saved how you want word.")
    return redirect("notices")


@never_cache
@anybody
@reads_only
def confirm_address(request: SignedInRequest, token: str) -> HttpResponse:
    """Where the letter to a new address leads, for the person who asked for it."""
    if email := confirmed(token, request.user.pk):
        User.objects.filter(pk=request.user.pk).update(email=email)
        messages.success(request, f"Word goes to {email} from now on.")
    else:
        messages.error(request, "This link does not confirm an address of yours: it is old or somebody else's.")
    return redirect("notices")


def _page(request: MemberRequest, series: Series, status: int = 200, **more: object) -> HttpResponse:
    log = WebhookDelivery.objects.filter(hook__series=series).newest_first()[:LOG_SHOWN]
    heard = set(series.webhooks.heard().values_list("pk", flat=True))
    hooks = [(hook, hook.pk in heard) for hook in series.webhooks.select_related("made_by")]
    context = {"series": series, "form": WebhookForm(), "hooks": hooks, "log": log}
    return render(request, "bible/notices/webhooks.html", context | more, status=status)


@never_cache
@member(Permission.SET_UP, FORM)
@limited(WEBHOOKS)
def webhooks(request: MemberRequest, series: Series) -> HttpResponseBase:
    """Which programs are told. A new one's secret is shown this once."""
    if request.method != "POST":
        if wanted(request):
            log = WebhookDelivery.objects.filter(hook__series=series).newest_first()
            return answer(request, series, deliveries_table(series, log))
        return _page(request, series)
    form = WebhookForm(request.POST)
    if form.is_valid():
        try:
            made = services.add_webhook(series=series, url=form.cleaned_data["url"], by=request.user)
            return _page(request, series, made=made, secret=made.secret)
        except Refused as refusal:
            form.add_error(None, str(refusal))
    return _page(request, series, 422, form=form)


@never_cache
@member(Permission.SET_UP, POST)
@limited(WEBHOOKS)
def new_secret(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Another secret, shown this once."""
    hook = services.renew_secret(hook=get_object_or_404(series.webhooks, pk=pk), by=request.user)
    return _page(request, series, made=hook, secret=hook.secret)


@member(Permission.SET_UP, POST)
@limited(WEBHOOKS)
def try_webhook(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Send something that says nothing, to see whether it is taken."""
    hook = get_object_or_404(series.webhooks, pk=pk)
    services.tell_program(hook=hook, kind="try", message={"series": series.slug, "event": "try"})
    messages.success(request, "A try is on its way; what comes of it stands in the log.")
    return redirect("webhooks", series.slug)


@member(Permission.SET_UP, POST)
def remove_webhook(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    get_object_or_404(series.webhooks, pk=pk).delete()
    messages.success(request, "That program is told nothing any more.")
    return redirect("webhooks", series.slug)
