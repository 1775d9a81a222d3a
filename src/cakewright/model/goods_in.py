"""Words of goods-in: what is measured on a delivered lot, by whom, and what is decided about it."""

from __future__ import annotations

from enum import StrEnum


class LotProperty(StrEnum):
    """What is measured on a delivered lot; the value is the word on pages and in files."""

    MELT_FLOW = "melt flow"
    BULK_DENSITY = "bulk density"
    HAUSNER = "Hausner ratio"
    MOISTURE = "moisture"
    SIZE = "median particle size"


UNITS = {
    LotProperty.MELT_FLOW: "g/10 min",
    LotProperty.BULK_DENSITY: "kg/L",
    LotProperty.HAUSNER: "",
    LotProperty.MOISTURE: "%",
    LotProperty.SIZE: "µm",
}


class Origin(StrEnum):
    """Who measured it."""

    CERTIFICATE = "certificate"
    OWN_TEST = "own test"


class Decision(StrEnum):
    """What may be done with a lot. Values are words on the shelf."""

    FREE = "free"
    HOLD = "on hold"
    REJECTED = "rejected"
