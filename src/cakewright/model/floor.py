"""What people say and measure on the floor: records that are written once and may arrive late, but never twice."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

Value = str | int | float


class FloorKind(StrEnum):
    """What a record is about."""

    RELEASE = "release"  # a second person has looked at the build and lets it start
    CHECK = "check before the print"  # one point of the list: fine, or what was found
    SCAN = "scan"  # a label held against the build: right, or refused with the reason
    WITHOUT = "started without a label"  # chamber or powder was not held against the build: name and reason
    MOVE = "chamber moved"
    OPENED_EARLY = "opened early"  # before the cake was cool: name and reason; its pieces go on the warp list
    NOTE = "note"
    ANSWER = "answer of a customer"  # to a doubt about their part: who said what
    MEASURED = "measured"  # a characteristic of a piece
    COUNTED = "counted"
    IDENTIFIED = "identified"
    BASKET = "basket"  # pieces that shared a finishing step
    SPECIMEN = "specimen"
    MISTAKE = "nonconformance"
    DECIDED = "decision"  # what becomes of a nonconformance
    GAUGE = "gauge"  # a gauge entered, calibrated again, or studied
    SERVICE = "service"  # a machine was serviced
    TRAINED = "trained"  # somebody may do a kind of work until a day, or may not any more
    PACKED = "packed"  # pieces of a line in a carton
    SCALE = "scale"  # a change of a machine's scale: proposed values approved, effective from a build
    FINISHED = "finished"  # one size or the mass of a piece before and after its finish


@dataclass(frozen=True, slots=True)
class FloorRecord:
    """One record. `uid` is made where it is written, so that a record sent twice is kept once.

    `at` is when it happened, `kept_at` when the store got it; `number` counts records in the store.
    `data` holds what belongs to the kind: texts and numbers only.
    """

    uid: str
    plan: int
    kind: FloorKind
    by: str
    at: datetime
    build: str = ""
    line: int | None = None
    piece: str = ""
    data: Mapping[str, Value] = field(default_factory=dict)
    number: int = 0
    kept_at: datetime | None = None
