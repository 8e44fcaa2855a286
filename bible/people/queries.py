"""What is read about people."""

from __future__ import annotations

from bible.models import Membership, SecondFactor, Series
from bible.models.naming import name_of


def leads_without_factor(series: Series) -> list[str]:
    """The names of lead colourists who sign in with a password alone."""
    leads: list[Membership] = list(series.memberships.leads().by_role())
    have = set(SecondFactor.objects.filter(user__in=[lead.user_id for lead in leads]).values_list("user", flat=True))
    return [name_of(lead.user) for lead in leads if lead.user_id not in have]
