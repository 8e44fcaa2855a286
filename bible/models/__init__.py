"""The tables of the bible, whatever room they are defined in: everybody takes them from here."""

from bible.accounts.models import (
    AccountSession,
    RecoveryCode,
    SecondFactor,
    shared_key,
)
from bible.activity.models import (
    CREW_ROOMS,
    ROOMS,
    Activity,
    ActivityKind,
    ActivityQuerySet,
    ActivityRoom,
    Key,
    record,
)
from bible.editions.models import (
    CollectedIssue,
    Edition,
    EditionQuerySet,
)
from bible.locks.models import (
    BASE_CHANGED,
    NOTE_LENGTH,
    Lock,
    LockNote,
    LockQuerySet,
    Note,
    NoteQuerySet,
    columns_of,
)
from bible.notices.models import (
    LOG_SHOWN,
    NoticeChoice,
    Webhook,
    WebhookDelivery,
)
from bible.people.models import (
    Invitation,
    ReadToken,
    hashed,
)
from bible.proposals.models import (
    Proposal,
)
from bible.scenes.models import (
    Scene,
    SceneRule,
    SceneTarget,
    SceneTargetQuerySet,
    SceneTint,
)
from bible.series.models import (
    POSITION_GAP,
    Issue,
    IssueQuerySet,
    Membership,
    PressUpload,
    Series,
    as_printed,
    refuse_reserved_slug,
)
from bible.subjects.models import (
    Costume,
    CostumeStretch,
    Ownership,
    Part,
    PartQuerySet,
    Subject,
    SubjectQuerySet,
    Within,
    full_name,
    matching_words,
)
from bible.tasks.models import (
    UNHEARD,
    UNSERVED,
    Job,
    JobQuerySet,
)
from bible.web.models import (
    Allowance,
)

__all__ = [
    "BASE_CHANGED",
    "CREW_ROOMS",
    "LOG_SHOWN",
    "NOTE_LENGTH",
    "POSITION_GAP",
    "ROOMS",
    "UNHEARD",
    "UNSERVED",
    "AccountSession",
    "Activity",
    "ActivityKind",
    "ActivityQuerySet",
    "ActivityRoom",
    "Allowance",
    "CollectedIssue",
    "Costume",
    "CostumeStretch",
    "Edition",
    "EditionQuerySet",
    "Invitation",
    "Issue",
    "IssueQuerySet",
    "Job",
    "JobQuerySet",
    "Key",
    "Lock",
    "LockNote",
    "LockQuerySet",
    "Membership",
    "Note",
    "NoteQuerySet",
    "NoticeChoice",
    "Ownership",
    "Part",
    "PartQuerySet",
    "PressUpload",
    "Proposal",
    "ReadToken",
    "RecoveryCode",
    "Scene",
    "SceneRule",
    "SceneTarget",
    "SceneTargetQuerySet",
    "SceneTint",
    "SecondFactor",
    "Series",
    "Subject",
    "SubjectQuerySet",
    "Webhook",
    "WebhookDelivery",
    "Within",
    "as_printed",
    "columns_of",
    "full_name",
    "hashed",
    "matching_words",
    "record",
    "refuse_reserved_slug",
    "shared_key",
]
