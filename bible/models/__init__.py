"""The tables of the bible."""

from bible.models.activity import Activity, Deed, Room
from bible.models.allowances import Allowance
from bible.models.locks import Lock, Role
from bible.models.notes import LockNote, Note
from bible.models.people import Invitation, ReadToken
from bible.models.proposals import Proposal
from bible.models.scenes import Scene, SceneRule, SceneTint
from bible.models.series import Issue, Membership, PressUpload, Series
from bible.models.subjects import Costume, Part, Subject

__all__ = [
    "Activity",
    "Allowance",
    "Costume",
    "Deed",
    "Invitation",
    "Issue",
    "Lock",
    "LockNote",
    "Membership",
    "Note",
    "Part",
    "PressUpload",
    "Proposal",
    "ReadToken",
    "Role",
    "Room",
    "Scene",
    "SceneRule",
    "SceneTint",
    "Series",
    "Subject",
]
