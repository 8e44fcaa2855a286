"""People and one's own tokens, as tables to take along."""

from __future__ import annotations

from collections.abc import Iterable

from bible.exports.tables import Table, about, person_cell
from bible.models import Membership, ReadToken, Series


def tokens_table(series: Series, tokens: Iterable[ReadToken]) -> Table:
    """One's own tokens by name and time: neither a token nor its hash goes into a file."""
    rows = (
        (token.name, token.may_write, token.made_at, token.used_on, token.state, token.expires_at, token.withdrawn_at)
        for token in tokens
    )
    columns = ("name", "may_write", "made_at", "last_used_on", "state", "expires_at", "withdrawn_at")
    return Table("tokens", columns, rows, about(series))


def people_table(series: Series, people: Iterable[Membership]) -> Table:
    rows = ((person_cell(member.user), member.user.get_username(), member.role) for member in people)
    return Table("people", ("name", "user_name", "role"), rows, about(series))
