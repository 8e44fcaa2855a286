"""The tables of the bible."""

from bible.models.locks import Lock, Role
from bible.models.series import Issue, Membership, PressUpload, Series
from bible.models.subjects import Costume, Part, Subject

__all__ = ["Costume", "Issue", "Lock", "Membership", "Part", "PressUpload", "Role", "Series", "Subject"]
