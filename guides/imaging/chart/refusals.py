"""Why a scan of a chart is not read, in words for whoever sent it."""

from __future__ import annotations

from enum import StrEnum


class ChartFault(StrEnum):
    """What is wrong with a scan. The values are stable."""

    NOT_A_CHART = "not_a_chart"
    OTHER_CHART = "other_chart"
    CUT_OFF = "cut_off"
    SHADOW = "shadow"
    COMPRESSED = "compressed"
    GREY = "grey"
    TOO_COARSE = "too_coarse"
    WRONG_REFERENCE = "wrong_reference"
    NO_TARGET = "no_target"
    LABELS = "labels"


class ChartRefused(ValueError):
    """A scan that cannot be trusted as a chart. ``fault`` is stable; the message is a sentence for the person."""

    def __init__(self, fault: ChartFault, message: str) -> None:
        super().__init__(message)
        self.fault = fault
        self.message = message
