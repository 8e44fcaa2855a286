"""The tables of the guides."""

from guides.models.areas import SceneArea
from guides.models.arrivals import Arrival
from guides.models.booklets import Booklet
from guides.models.brought import BroughtTable
from guides.models.carries import Carry
from guides.models.conditions import FlagKind
from guides.models.deeds import Deed
from guides.models.marks import Agreement, Before, Mark, MarkQuerySet
from guides.models.neighbours import NeighbourLook, SinkingPair
from guides.models.notes import MarkNote
from guides.models.page_notes import PageNote
from guides.models.pages import PAGE_LABEL_LENGTH, Guide
from guides.models.palettes import TintUse, UseKind
from guides.models.proofs import Decision, Proof, ProofReading, Verdict
from guides.models.readings import PAINT_VERSION, PaintReading
from guides.models.steps import IssueStep
from guides.models.waivers import Waiver

__all__ = [
    "PAGE_LABEL_LENGTH",
    "PAINT_VERSION",
    "Agreement",
    "Arrival",
    "Before",
    "Booklet",
    "BroughtTable",
    "Carry",
    "Decision",
    "Deed",
    "FlagKind",
    "Guide",
    "IssueStep",
    "Mark",
    "MarkNote",
    "MarkQuerySet",
    "NeighbourLook",
    "PageNote",
    "PaintReading",
    "Proof",
    "ProofReading",
    "SceneArea",
    "SinkingPair",
    "TintUse",
    "UseKind",
    "Verdict",
    "Waiver",
]
