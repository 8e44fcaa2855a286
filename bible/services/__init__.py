"""Writes to the bible that touch several rows: keyword-only, atomic, and the only way in for views and commands."""

from bible.services.locks import (
    Decision,
    correct_lock,
    end_lock,
    last_decision,
    lock_afresh,
    lock_histories,
    lock_rule,
    lock_tint,
    set_costume_time,
)
from bible.services.people import (
    accept_invitation,
    change_role,
    invite,
    make_read_token,
    remove_member,
    withdraw_invitation,
    withdraw_read_token,
)
from bible.services.proposals import accept_proposal, decline_proposal, propose, withdraw_proposal
from bible.services.refusals import Refused, StaleDecision
from bible.services.removal import InUse, archive, delete_unused
from bible.services.scenes import archive_scene, last_rule, set_scene
from bible.services.series import (
    LAST_POSITION,
    add_issue,
    change_reading,
    move_issue,
    place_in_order,
    standing_between,
    start_series,
)

__all__ = [
    "LAST_POSITION",
    "Decision",
    "InUse",
    "Refused",
    "StaleDecision",
    "accept_invitation",
    "accept_proposal",
    "add_issue",
    "archive",
    "archive_scene",
    "change_reading",
    "change_role",
    "correct_lock",
    "decline_proposal",
    "delete_unused",
    "end_lock",
    "invite",
    "last_decision",
    "last_rule",
    "lock_afresh",
    "lock_histories",
    "lock_rule",
    "lock_tint",
    "make_read_token",
    "move_issue",
    "place_in_order",
    "propose",
    "remove_member",
    "set_costume_time",
    "set_scene",
    "standing_between",
    "start_series",
    "withdraw_invitation",
    "withdraw_proposal",
    "withdraw_read_token",
]
