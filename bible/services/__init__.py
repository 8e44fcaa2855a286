"""Writes to the bible that touch several rows: keyword-only, atomic, and the only way in for views and commands."""

from bible.services.activity import has_news, look, record
from bible.services.edits import StaleEdit, add, fingerprint, save_edit
from bible.services.holding import hold_places, hold_reading, hold_series, hold_to_decide
from bible.services.locks import (
    Decision,
    correct_lock,
    end_lock,
    last_decision,
    last_decisions,
    lock_afresh,
    lock_histories,
    lock_rule,
    lock_tint,
    set_costume_time,
)
from bible.services.notes import note_on_lock
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
from bible.services.removal import InUse, Use, archive, delete_unused, uses_of
from bible.services.scenes import last_rule, set_scene
from bible.services.series import (
    LAST_POSITION,
    add_issue,
    change_reading,
    move_issue,
    place_in_order,
    standing_between,
    start_series,
)
from bible.services.things import title_of
from bible.services.undoing import Decided, decision_of, undo_decision, why_not_undone

__all__ = [
    "LAST_POSITION",
    "Decided",
    "Decision",
    "InUse",
    "Refused",
    "StaleDecision",
    "StaleEdit",
    "Use",
    "accept_invitation",
    "accept_proposal",
    "add",
    "add_issue",
    "archive",
    "change_reading",
    "change_role",
    "correct_lock",
    "decision_of",
    "decline_proposal",
    "delete_unused",
    "end_lock",
    "fingerprint",
    "has_news",
    "hold_places",
    "hold_reading",
    "hold_series",
    "hold_to_decide",
    "invite",
    "last_decision",
    "last_decisions",
    "last_rule",
    "lock_afresh",
    "lock_histories",
    "lock_rule",
    "lock_tint",
    "look",
    "make_read_token",
    "move_issue",
    "note_on_lock",
    "place_in_order",
    "propose",
    "record",
    "remove_member",
    "save_edit",
    "set_costume_time",
    "set_scene",
    "standing_between",
    "start_series",
    "title_of",
    "undo_decision",
    "uses_of",
    "why_not_undone",
    "withdraw_invitation",
    "withdraw_proposal",
    "withdraw_read_token",
]
