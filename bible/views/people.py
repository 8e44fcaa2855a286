"""Who belongs to a series, and coming in by invitation."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import login
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from bible.access import EVERYBODY, LEADS, MemberRequest, SignedInRequest, invited, member
from bible.forms.people import InvitationForm, NewAccountForm, RoleForm
from bible.limits import INVITATIONS, limited
from bible.lists import people_table
from bible.models import Invitation, Series
from bible.services import Refused, accept_invitation, change_role, invite, remove_member, withdraw_invitation
from bible.tables_out import answer, wanted


def _page(request: MemberRequest, series: Series, status: int = 200, **more: object) -> HttpResponse:
    context = {
        "series": series,
        "people": series.memberships.by_role(),
        "invitations": series.invitations.newest_first() if request.membership.may_lock else None,
        "form": InvitationForm(),
    }
    return render(request, "bible/people.html", context | more, status=status)


@member(*EVERYBODY)
def people(request: MemberRequest, series: Series) -> HttpResponseBase:
    if wanted(request):
        return answer(request, series, people_table(series, series.memberships.by_role()))
    return _page(request, series)


@never_cache
@require_POST
@member(*LEADS)
@limited(INVITATIONS)
def new_invitation(request: MemberRequest, series: Series) -> HttpResponse:
    """Make a link. It is shown this once: only its hash is kept."""
    form = InvitationForm(request.POST)
    if not form.is_valid():
        return _page(request, series, 422, form=form)
    invitation, token = invite(series=series, by=request.user, **form.cleaned_data)
    link = request.build_absolute_uri(reverse("join", args=[token]))
    return _page(request, series, invitation=invitation, link=link)


@require_POST
@member(*LEADS)
def withdraw(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    invitation = get_object_or_404(series.invitations, pk=pk)
    try:
        withdraw_invitation(invitation=invitation)
    except Refused as refusal:
        return _page(request, series, 422, refusal=str(refusal))
    messages.success(request, "The link does not work any more.")
    return redirect("people", series.slug)


@require_POST
@member(*LEADS)
def role(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    found = get_object_or_404(series.memberships, pk=pk)
    form = RoleForm(request.POST)
    if not form.is_valid():
        return _page(request, series, 422, refusal=f"{found.user}: choose one of the roles.")
    try:
        changed = change_role(membership=found, role=form.cleaned_data["role"], by=request.user)
    except Refused as refusal:
        return _page(request, series, 422, refusal=str(refusal))
    messages.success(request, f"{changed.user} is {changed.get_role_display()} now.")
    return redirect("people", series.slug)


@require_POST
@member(*LEADS)
def remove(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    found = get_object_or_404(series.memberships.select_related("user"), pk=pk)
    try:
        remove_member(membership=found, by=request.user)
    except Refused as refusal:
        return _page(request, series, 422, refusal=str(refusal))
    messages.success(request, f"{found.user} has left {series}. What they decided stays.")
    return redirect("home" if found.user_id == request.user.pk else reverse("people", args=[series.slug]))


def _invitation(token: str) -> Invitation:
    """A usable invitation; anything else looks like a link that never was."""
    found = Invitation.objects.with_token(token).usable().select_related("series", "invited_by").first()
    if found is None:
        raise Http404("This invitation does not work: it is used, withdrawn, expired or not quite copied.")
    return found


@never_cache
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
    return render(request, "bible/join.html", context, status=422 if refusal else 200)


@sensitive_post_parameters()
@never_cache
@require_POST
@invited
def new_account(request: HttpRequest, token: str) -> HttpResponse:
    """Make an account and join with it, both or neither."""
    invitation = _invitation(token)
    form = NewAccountForm(request.POST)
    if form.is_valid():
        try:
            user = form.join(invitation)
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            login(request, user, backend="django.contrib.auth.backends.ModelBackend")
            return redirect(invitation.series)
    return render(request, "bible/join.html", {"invitation": invitation, "token": token, "form": form}, status=422)
