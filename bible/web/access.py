"""Who may see and do what in a series: one decorator, so that no view can forget it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import wraps
from typing import TYPE_CHECKING, Any, Concatenate

from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponseBase
from django.views.decorators.http import require_http_methods
from django_htmx.middleware import HtmxDetails

from bible.models import Edition, Membership, Series
from bible.models.naming import name_of
from bible.models.permissions import RIGHTS, MemberRole, Permission, Rights

if TYPE_CHECKING:
    from django.contrib.auth.models import User


class SignedInRequest(HttpRequest):
    """What every view gets: nobody comes in without signing in."""

    htmx: HtmxDetails
    user: User


class MemberRequest(SignedInRequest):
    """A request of somebody who belongs to the series it is about."""

    membership: Membership
    may: Rights
    edition: Edition | None
    """The printing after the first that the page is asked for (``?edition=``)."""


SeriesView = Callable[Concatenate[MemberRequest, Series, ...], HttpResponseBase]


def who_may(roles: tuple[MemberRole, ...]) -> str:
    """“a lead colourist”, “a lead colourist or a fill-in colourist”."""
    return " or ".join(f"{'an' if role.label[0] in 'aeiou' else 'a'} {role.label}" for role in roles)


def member(permission: Permission, methods: Sequence[str]) -> Callable[[SeriesView], Callable[..., HttpResponseBase]]:
    """Open a view, for these methods, to members of the series named in the URL who have the permission.

    The view receives the series in place of its short name. Somebody who does not belong to the series gets the same
    404 as for a series that does not exist; a member without the permission is told who has it.
    """

    def decorate(view: SeriesView) -> Callable[..., HttpResponseBase]:
        @require_http_methods(list(methods))
        @wraps(view)
        def guarded(request: MemberRequest, slug: str, *args: Any, **kwargs: Any) -> HttpResponseBase:
            membership = Membership.objects.for_user_and_slug(request.user, slug).first()
            if membership is None:
                raise Http404("No such series.")
            membership.user = request.user  # no need to ask for it again
            request.membership, request.may = membership, Rights(membership.acting_role)
            request.edition = _edition(request, membership.series)
            refuse_unless(request, permission)
            return view(request, membership.series, *args, **kwargs)

        guarded.permission = permission  # type: ignore[attr-defined]
        return guarded

    return decorate


def _edition(request: HttpRequest, series: Series) -> Edition | None:
    """The edition that the address names.

    Raises:
        Http404: there is none of that name. The first printing's codes would be taken for its.
    """
    name = request.GET.get("edition", "").replace("\0", "").strip()
    if not name:
        return None
    edition = series.editions.filter(name__iexact=name).select_related("series").first()
    if edition is None:
        raise Http404("There is no such edition.")
    return edition


def refuse_unless(request: MemberRequest, permission: Permission) -> None:
    """Tell a member without a permission who has it; for views that show to more people than may save.

    Raises:
        PermissionDenied: the member has not got it.
    """
    membership = request.membership
    if membership.held_back and membership.role in RIGHTS[permission] and not membership.may(permission):
        raise PermissionDenied(
            f"{membership.series} asks its lead colourists for a second factor. Set yours up, and this is yours to do"
            " again; until then you may do here what a fill-in colourist may."
        )
    if not membership.may(permission):
        leads = ", ".join(name_of(lead.user) for lead in _leads(membership.series))
        raise PermissionDenied(
            f"Only {who_may(RIGHTS[permission])} may do this; you are {who_may((MemberRole(membership.role),))}."
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
