"""The tables of the guides, whatever room they are defined in: everybody takes them from here."""

from guides.assignments.models import (
    NOTE_OF_PAGES_LENGTH,
    Assignment,
    AssignmentQuerySet,
)
from guides.booklets.models import (
    Booklet,
    BookletQuerySet,
)
from guides.charts.models import (
    CHART_SAID_LENGTH,
    RUN_LENGTH,
    ChartScan,
    ChartScanQuerySet,
    PrintedSheet,
)
from guides.core.models.areas import (
    OutlineField,
    SceneArea,
)
from guides.core.models.conditions import (
    MOST_COUNTED,
    NO_TINT_FLAGS,
    Agreement,
    FlagKind,
    as_expected,
    flag_kind_condition,
    kind_of_flag,
    second_tint,
)
from guides.core.models.marks import (
    Before,
    Mark,
    MarkQuerySet,
)
from guides.core.models.notes import (
    MarkNote,
)
from guides.core.models.pages import (
    PAGE_LABEL_LENGTH,
    Guide,
    GuideQuerySet,
)
from guides.core.models.waivers import (
    Waiver,
)
from guides.costumes.models import (
    CostumePicture,
    CostumePictureQuerySet,
)
from guides.desk.models import (
    TOGETHER,
    Deed,
)
from guides.desk.note_models import (
    PageNote,
)
from guides.found.models import (
    SEARCH_VERSION,
    CodeSearch,
    FoundCode,
    FoundCodeQuerySet,
    KnownHand,
    KnownHandQuerySet,
    PageCast,
    PageCastQuerySet,
)
from guides.imports.models import (
    BroughtTable,
    NamedHeading,
)
from guides.paint.models import (
    PAINT_VERSION,
    PaintReading,
    PaintReadingQuerySet,
)
from guides.palettes.models import (
    KIND_OF_ROLE,
    NOBODY,
    TintUse,
    UseKind,
)
from guides.preview.models import (
    LOOK_VERSION,
    NeighbourLook,
    SinkingPair,
    SinkingPairQuerySet,
    marks_state,
)
from guides.proofs.models import (
    NOTE_LENGTH,
    Proof,
    ProofDecision,
    ProofReading,
    ProofVerdict,
)
from guides.regrouping.models import (
    Regrouping,
    RegroupingQuerySet,
)
from guides.signoff.models import (
    WORDS_LENGTH,
    IssueStep,
    SignedState,
)
from guides.uploads.carry_models import (
    Carry,
    awaiting_marks,
)
from guides.uploads.models import (
    KEPT_FOR,
    Arrival,
)

__all__ = [
    "CHART_SAID_LENGTH",
    "KEPT_FOR",
    "KIND_OF_ROLE",
    "LOOK_VERSION",
    "MOST_COUNTED",
    "NOBODY",
    "NOTE_LENGTH",
    "NOTE_OF_PAGES_LENGTH",
    "NO_TINT_FLAGS",
    "PAGE_LABEL_LENGTH",
    "PAINT_VERSION",
    "RUN_LENGTH",
    "SEARCH_VERSION",
    "TOGETHER",
    "WORDS_LENGTH",
    "Agreement",
    "Arrival",
    "Assignment",
    "AssignmentQuerySet",
    "Before",
    "Booklet",
    "BookletQuerySet",
    "BroughtTable",
    "Carry",
    "ChartScan",
    "ChartScanQuerySet",
    "CodeSearch",
    "CostumePicture",
    "CostumePictureQuerySet",
    "Deed",
    "FlagKind",
    "FoundCode",
    "FoundCodeQuerySet",
    "Guide",
    "GuideQuerySet",
    "IssueStep",
    "KnownHand",
    "KnownHandQuerySet",
    "Mark",
    "MarkNote",
    "MarkQuerySet",
    "NamedHeading",
    "NeighbourLook",
    "OutlineField",
    "PageCast",
    "PageCastQuerySet",
    "PageNote",
    "PaintReading",
    "PaintReadingQuerySet",
    "PrintedSheet",
    "Proof",
    "ProofDecision",
    "ProofReading",
    "ProofVerdict",
    "Regrouping",
    "RegroupingQuerySet",
    "SceneArea",
    "SignedState",
    "SinkingPair",
    "SinkingPairQuerySet",
    "TintUse",
    "UseKind",
    "Waiver",
    "as_expected",
    "awaiting_marks",
    "flag_kind_condition",
    "kind_of_flag",
    "marks_state",
    "second_tint",
]
