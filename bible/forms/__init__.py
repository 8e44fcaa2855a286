"""Forms of the bible. What every room's forms are made of, and those of series, subjects and locks, stand here."""

from bible.forms.base import (
    AsOfForm,
    CodeField,
    CorrectionForm,
    CostumeForm,
    EndForm,
    IssueForm,
    IssueNumberField,
    LockForm,
    PartForm,
    SeriesForm,
    SubjectForm,
    explain,
    mark_as_seen,
    seen_decisions,
)

__all__ = [
    "AsOfForm",
    "CodeField",
    "CorrectionForm",
    "CostumeForm",
    "EndForm",
    "IssueForm",
    "IssueNumberField",
    "LockForm",
    "PartForm",
    "SeriesForm",
    "SubjectForm",
    "explain",
    "mark_as_seen",
    "seen_decisions",
]
