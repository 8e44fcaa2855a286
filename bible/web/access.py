"""Who may see and do what in a series: one decorator, so that no view can forget it."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import TYPE_CHECKING, Any, Concatenate

from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponseBase
from django_htmx.middleware import HtmxDetails

from bible.models import Membership, Series
from bible.web.names import name_of

if TYPE_CHECKING:
    from django.contrib.auth.models import User

Role = Membership.Role

EVERYBODY = tuple(Role)
MARKERS = (Role.LEAD, Role.FILL_IN)
CREW = (*MARKERS, Role.EDITOR)
"""Everybody who works on the series. Guests read what was decided, not how people talked about it."""
LEADS = (Role.LEAD,)
ISSUE_KEEPERS = (*LEADS, Role.EDITOR)
"""Who adds issues, changes them and takes them out again."""


class SignedInRequest(HttpRequest):
    """What every view gets: nobody comes in without signing in."""

    htmx: HtmxDetails
    user: User


class MemberRequest(SignedInRequest):
    """A request of somebody who belongs to the series it is about."""

    membership: Membership


SeriesView = Callable[Concatenate[MemberRequest, Series, ...], HttpResponseBase]


def who_may(roles: tuple[Role, ...]) -> str:
    """“a lead colourist”, “a lead colourist or a fill-in colourist”."""
    return " or ".join(f"{'an' if role is Role.EDITOR else 'a'} {role.label}" for role in roles)


def member(*roles: Role) -> Callable[[SeriesView], Callable[..., HttpResponseBase]]:
    """Open a view to members of the series named in the URL, with one of the roles.

    The view receives the series in place of its short name. Somebody who does not belong to the series gets the same
    404 as for a series that does not exist; a member without the role is told who may do it.
    """
    if not roles:
        raise TypeError("name the roles that may use this view")

    def decorate(view: SeriesView) -> Callable[..., HttpResponseBase]:
        @wraps(view)
        def guarded(request: MemberRequest, slug: str, *args: Any, **kwargs: Any) -> HttpResponseBase:
            membership = Membership.objects.for_user_and_slug(request.user, slug).first()
            if membership is None:
                raise Http404("No such series.")
            membership.user = request.user  # no need to ask for it again
            request.membership = membership
            refuse_unless(request, *roles)
            return view(request, membership.series, *args, **kwargs)

        guarded.series_roles = roles  # type: ignore[attr-defined]
        return guarded

    return decorate


def refuse_unless(request: MemberRequest, *roles: Role) -> None:
    """Tell a member without one of the roles who may do this; for views that show to more people than may save.

    Raises:
        PermissionDenied: the member has none of the roles.
    """
    membership = request.membership
    if membership.role not in roles:
        leads = ", ".join(name_of(lead.user) for lead in _leads(membership.series))
        raise PermissionDenied(
            f"Only {who_may(roles)} may do this; you are {who_may((Role(membership.role),))}."
            f" Ask {leads or 'the lead colourist'}."
        )


def anybody(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """Open a view to whoever has signed in; it speaks of no series, or only of the person's own."""
    view.open_to = "signed in"  # type: ignore[attr-defined]
    return view


def invited(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """Open a view to whoever holds the token in its address, signed in or not."""
    view.open_to = "token"  # type: ignore[attr-defined]
    return login_not_required(view)


def everybody(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """Open a view to whoever asks: it tells nothing of any series or person."""
    view.open_to = "everybody"  # type: ignore[attr-defined]
    return login_not_required(view)


def _leads(series: Series) -> list[Membership]:
    return list(series.memberships.leads().by_role())
