"""Who works on a series: members, invitations, tokens, and whether leads need a second factor."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import login
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from bible.exports.tables import answer, wanted
from bible.models import Invitation, Series
from bible.models.naming import name_of
from bible.models.permissions import Permission
from bible.people.exports import people_table, tokens_table
from bible.people.forms import InvitationForm, LeadFactorForm, NewAccountForm, ReadTokenForm, RoleForm
from bible.people.queries import leads_without_factor
from bible.people.services import (
    accept_invitation,
    ask_leads,
    change_role,
    invite,
    make_read_token,
    remove_member,
    withdraw_invitation,
    withdraw_read_token,
)
from bible.series.refusals import Refused
from bible.web.access import MemberRequest, SignedInRequest, invited, member
from bible.web.limits import INVITATIONS, NEW_ACCOUNTS, TOKENS, address_of, limited, spend
from bible.web.methods import FORM, POST, SAFE, forms_only


def _page(request: MemberRequest, series: Series, status: int = 200, **more: object) -> HttpResponse:
    context = {
        "series": series,
        "people": series.memberships.by_role(),
        "invitations": series.invitations.newest_first() if request.membership.may(Permission.INVITE) else None,
        "form": InvitationForm(),
        "lead_form": LeadFactorForm(instance=series),
        "without": leads_without_factor(series) if request.may["set_up"] else (),
    }
    return render(request, "bible/people/people.html", context | more, status=status)


@member(Permission.READ, SAFE)
def people(request: MemberRequest, series: Series) -> HttpResponseBase:
    if wanted(request):
        return answer(request, series, people_table(series, series.memberships.by_role()))
    return _page(request, series)


@never_cache
@member(Permission.INVITE, POST)
@limited(INVITATIONS)
def new_invitation(request: MemberRequest, series: Series) -> HttpResponse:
    """Make a link. It is shown this once: only its hash is kept."""
    form = InvitationForm(request.POST)
    if not form.is_valid():
        return _page(request, series, 422, form=form)
    invitation, token = invite(series=series, by=request.user, **form.cleaned_data)
    link = request.build_absolute_uri(reverse("join", args=[token]))
    return _page(request, series, invitation=invitation, link=link)


@member(Permission.SET_UP, POST)
def lead_factor(request: MemberRequest, series: Series) -> HttpResponse:
    """Ask the series' leads for a second factor, or no longer."""
    form = LeadFactorForm(request.POST, instance=Series.objects.get(pk=series.pk))
    if not form.is_valid():
        return _page(request, series, 422, lead_form=form)
    try:
        ask_leads(series=form.instance, by=request.user)
    except Refused as refusal:
        return _page(request, series, 422, refusal=str(refusal))
    asks = form.instance.leads_need_second_factor
    messages.success(
        request, f"Lead colourists here {'need a second factor' if asks else 'sign in as they like'} from now on."
    )
    return redirect("people", series.slug)


@member(Permission.INVITE, POST)
def withdraw(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    invitation = get_object_or_404(series.invitations, pk=pk)
    try:
        withdraw_invitation(invitation=invitation)
    except Refused as refusal:
        return _page(request, series, 422, refusal=str(refusal))
    messages.success(request, "The link does not work any more.")
    return redirect("people", series.slug)


@member(Permission.INVITE, POST)
def role(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    membership = get_object_or_404(series.memberships, pk=pk)
    form = RoleForm(request.POST)
    if not form.is_valid():
        return _page(request, series, 422, refusal=f"{name_of(membership.user)}: choose one of the roles.")
    try:
        changed = change_role(membership=membership, role=form.cleaned_data["role"], by=request.user)
    except Refused as refusal:
        return _page(request, series, 422, refusal=str(refusal))
    messages.success(request, f"{name_of(changed.user)} is {changed.get_role_display()} now.")
    return redirect("people", series.slug)


@member(Permission.INVITE, POST)
def remove(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    membership = get_object_or_404(series.memberships.select_related("user"), pk=pk)
    try:
        remove_member(membership=membership, by=request.user)
    except Refused as refusal:
        return _page(request, series, 422, refusal=str(refusal))
    messages.success(request, f"{name_of(membership.user)} has left {series}. What they decided stays.")
    return redirect("home" if membership.user_id == request.user.pk else reverse("people", args=[series.slug]))


def _invitation(token: str) -> Invitation:
    """A usable invitation; anything else looks like a link that never was."""
    invitation = Invitation.objects.with_token(token).usable().select_related("series", "invited_by").first()
    if invitation is None:
        raise Http404("This invitation does not work: it is used, withdrawn, expired or not quite copied.")
    return invitation


@never_cache
@forms_only
@invited
def join(request: SignedInRequest, token: str) -> HttpResponse:
    """Where an invitation leads: sign in or make an account, then say yes."""
    invitation = _invitation(token)
    refusal = ""
    if request.method == "POST" and request.user.is_authenticated:
        try:
            accept_invitation(invitation=invitation, by=request.user)
            return redirect(invitation.series)
        except Refused as error:
            refusal = str(error)
    context = {"invitation": invitation, "token": token, "form": NewAccountForm(), "refusal": refusal}
    return render(request, "bible/people/join.html", context, status=422 if refusal else 200)


@sensitive_post_parameters()
@never_cache
@require_POST
@invited
def new_account(request: HttpRequest, token: str) -> HttpResponse:
    """Make an account and join with it, both or neither."""
    invitation = _invitation(token)
    spend(NEW_ACCOUNTS, address_of(request))
    form = NewAccountForm(request.POST)
    if form.is_valid():
        try:
            user = form.join(invitation)
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            login(request, user, backend="django.contrib.auth.backends.ModelBackend")
            return redirect(invitation.series)
    return render(
        request, "bible/people/join.html", {"invitation": invitation, "token": token, "form": form}, status=422
    )


@never_cache
@member(Permission.READ, FORM)
@limited(TOKENS)
def tokens(request: MemberRequest, series: Series) -> HttpResponseBase:
    """One's own tokens. A new one is shown this once, on the page and in no file: only its hash is kept."""
    if wanted(request) and request.method != "POST":
        return answer(request, series, tokens_table(series, request.membership.read_tokens.all()))
    form = ReadTokenForm(request.membership, request.POST if request.method == "POST" else None)
    context: dict[str, object] = {"series": series, "form": form}
    if form.is_valid():
        try:
            made, token = make_read_token(membership=request.membership, **form.cleaned_data)
            context |= {"made": made, "token": token, "form": ReadTokenForm(request.membership)}
        except Refused as refusal:
            form.add_error(None, str(refusal))
    context["tokens"] = request.membership.read_tokens.all()
    return render(request, "bible/people/tokens.html", context, status=422 if form.errors else 200)


@member(Permission.READ, POST)
def withdraw_token(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    withdraw_read_token(token=get_object_or_404(request.membership.read_tokens, pk=pk))
    messages.success(request, "The token opens nothing any more.")
    return redirect("tokens", series.slug)
