"""The powder ledger for scripts and scales: cans, entries, recall; movements are appended."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Query
from pydantic import BaseModel, Field

from cakewright.app.powder_books import CanView, look
from cakewright.app.powder_deeds import move, weigh_in
from cakewright.app.powder_recall import RecalledCan, recall_lot
from cakewright.sources.powder import RECALL_THRESHOLD
from cakewright.store.powder_recall import RecalledBuild, RecalledOrder
from cakewright.web.shelf import Shelf, shelf_of
from cakewright.web.trouble import RESPONSES

interface = APIRouter(prefix="/api/v1/powder", responses=RESPONSES, tags=["powder"])
Plans = Annotated[Shelf, Depends(shelf_of)]
PAGE = 1000


class EntryAnswer(BaseModel):
    """One entry of the ledger. Grams may be negative in a correction; times are UTC."""

    number: int
    at: datetime
    kind: str
    source: str
    target: str
    grams: int
    who: str
    reason: str
    exposures: int
    dose_h: float
    corrects: int | None


class RecallAnswer(BaseModel):
    """Everything that holds at least `threshold` (share) of a lot."""

    lot: str
    threshold: float
    pieces: int
    cans: list[RecalledCan]
    builds: list[RecalledBuild]
    orders: list[RecalledOrder]


class Movement(BaseModel):
    """Powder poured from one can into another; without `kg` all of it."""

    source: str = Field(max_length=80, examples=["U03"])
    target: str = Field(max_length=80, examples=["M02"])
    kg: float | None = Field(default=None, gt=0, le=10_000, allow_inf_nan=False, examples=[7.98])
    by: str = Field(min_length=1, max_length=80, examples=["Mira"])
    reason: str = Field(default="", max_length=300)


class Reading(BaseModel):
    """What a scale shows for a can, net; a difference to the books needs its name in `reason`."""

    kg: float = Field(gt=0, le=10_000, allow_inf_nan=False, examples=[7.98])
    by: str = Field(min_length=1, max_length=80, examples=["Mira"])
    reason: str = Field(default="", max_length=300)


@interface.get("/cans")
def cans(shelf: Plans) -> list[CanView]:
    """Every can with powder: kg, share by lot, share by builds seen (the last: so many or more, or not known)."""
    view = look(shelf.store)
    return [] if view.is_empty else list(view.shelf())


@interface.get("/entries")
def entries(shelf: Plans, after: Annotated[int, Query(ge=0)] = 0) -> list[EntryAnswer]:
    """Entries with a number above `after`, oldest first, at most 1000."""
    wanted = look(shelf.store).ledger.entries[after : after + PAGE]
    return [EntryAnswer(**{name: getattr(e, name) for name in EntryAnswer.model_fields}) for e in wanted]


@interface.post("/entries", status_code=201)
def add_entry(shelf: Plans, movement: Movement) -> EntryAnswer:
    """Append a movement. Refused with the figures when the can does not hold it or the two may not meet."""
    entry = move(shelf.store, movement.source, movement.target, movement.kg, by=movement.by, at=shelf.clock(),
                 reason=movement.reason)  # fmt: skip
    return EntryAnswer(**{name: getattr(entry, name) for name in EntryAnswer.model_fields})


@interface.post("/cans/{can}/readings", status_code=201)
def add_reading(shelf: Plans, can: str, reading: Reading) -> CanView:
    """Weigh a can in; the can as the books hold it afterwards."""
    weigh_in(shelf.store, can, reading.kg, reason=reading.reason, by=reading.by, at=shelf.clock())
    view = look(shelf.store)
    return next(seen for seen in view.shelf(with_empty=True) if seen.key.casefold() == can.strip().casefold())


@interface.get("/recall")
def recall(
    shelf: Plans,
    lot: Annotated[list[str] | None, Query(max_length=40)] = None,
    at_least: Annotated[float, Query(ge=0.001, le=1)] = RECALL_THRESHOLD.value,
) -> list[RecallAnswer]:
    """Who got at least `at_least` (share) of the lots named, or of every lot."""
    view = look(shelf.store)
    lots = lot or ([] if view.is_empty else list(view.graph.origins))
    found = [recall_lot(shelf.store, name, at_least) for name in lots]
    return [RecallAnswer(lot=f.lot, threshold=f.threshold, pieces=f.pieces, cans=list(f.cans), builds=list(f.builds),
                         orders=list(f.orders)) for f in found]  # fmt: skip
