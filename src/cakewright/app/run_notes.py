"""Notes, pictures and moves of a chamber while a build runs and cools."""

from __future__ import annotations

import base64
import binascii
from collections.abc import Sequence
from datetime import datetime
from uuid import uuid4

from cakewright.app.floor_note import keep
from cakewright.errors import InputError
from cakewright.model.build import Build
from cakewright.model.floor import FloorKind, FloorRecord, Value
from cakewright.model.plan import WeekPlan
from cakewright.store import Store
from cakewright.store.photos import LARGEST_BYTES

LONGEST_NOTE = 500
FREE_PLACES = ("cooling bay", "store", "cleaning")


def note(
    store: Store, plan: WeekPlan, build: Build, text: str, *, by: str, at: datetime, layer: int | None = None,
    uid: str = "", kept_at: datetime | None = None,
) -> FloorRecord:  # fmt: skip
    """Keep what somebody saw, with the layer when it matters. InputError for no words or a layer there is not."""
    if not text.strip():
        raise InputError("the note is empty", remedy="write what you saw", where="text")
    if layer is not None and not 0 <= layer <= build.profile.layers:
        raise InputError(f"layer {layer}", remedy=f"{build.key} has layers 0 to {build.profile.layers}", where="layer")
    data: dict[str, Value] = {"text": text.strip()[:LONGEST_NOTE]}
    if layer is not None:
        data["layer"] = layer
    return keep(store, plan, FloorKind.NOTE, data, by=by, at=at, build=build.key, uid=uid, kept_at=kept_at)


def lines_at(plan: WeekPlan, build: Build, layer: int) -> tuple[int, ...]:
    """Lines that have a piece in a layer: whom a streak or a stop there touches."""
    z = (layer - 0.5) * build.profile.layer_mm
    return tuple(sorted({p.line for p in build.nest.placements if p.z_min_mm <= z <= p.z_max_mm}))


def places(plan: WeekPlan) -> tuple[str, ...]:
    """Where a chamber can stand: machines, unpacking stations, and beside them."""
    cell = plan.cell
    return (*(m.name for m in cell.machines), *(s.name for s in cell.stations if s.kind == "unpack"), *FREE_PLACES)


def move_chamber(
    store: Store, plan: WeekPlan, build: Build, chamber: str, to: str, *, by: str, at: datetime, uid: str = "",
    kept_at: datetime | None = None,
) -> FloorRecord:  # fmt: skip
    """A chamber with a cake was moved. InputError for a strange chamber or place, or one kept for another powder."""
    found = next((c for c in plan.cell.chambers if c.name.casefold() == chamber.strip().casefold()), None)
    if found is None:
        known = ", ".join(c.name for c in plan.cell.chambers)
        raise InputError(f"there is no chamber {chamber[:40]!r}", remedy=f"one of: {known}", where="chamber")
    where = next((p for p in places(plan) if p.casefold() == to.strip().casefold()), None)
    if where is None:
        raise InputError(f"{to[:40]!r} is no place", remedy=f"one of: {', '.join(places(plan))}", where="to")
    machine = next((m for m in plan.cell.machines if m.name == where), None)
    if machine is not None and not found.takes(machine.material):
        raise InputError(f"{found.name} is kept for {found.material}, {where} prints {machine.material}",
                         remedy="take a chamber of that powder", where="chamber")  # fmt: skip
    station = next((s for s in plan.cell.stations if s.name == where), None)
    if station is not None and station.materials and build.material not in station.materials:
        raise InputError(f"{where} is kept for {', '.join(station.materials)}, the cake is {build.material}",
                         remedy="use the station of that powder", where="to")  # fmt: skip
    data: dict[str, Value] = {"chamber": found.name, "to": where}
    return keep(store, plan, FloorKind.MOVE, data, by=by, at=at, build=build.key, uid=uid, kept_at=kept_at)


def standing(records: Sequence[FloorRecord]) -> FloorRecord | None:
    """The last move of a build's chamber; None when nobody noted one."""
    return next((r for r in reversed(records) if r.kind is FloorKind.MOVE), None)


def keep_photo(
    store: Store, plan: WeekPlan, build: Build, picture: bytes | str, *, by: str, at: datetime, kept_at: datetime,
    note: str = "", uid: str = "",
) -> int:  # fmt: skip
    """Keep a picture of a build: bytes of a file, or a data address as a tablet makes it. Kept once."""
    content = decoded_picture(picture) if isinstance(picture, str) else picture
    if not content:
        raise InputError("there is no picture", remedy="take one, or choose a file", where="photo")
    return store.photos.add(content, uid=uid or uuid4().hex, plan=plan.version, build=build.key, by=by, at=at,
                            kept_at=kept_at, note=note)  # fmt: skip


def decoded_picture(text: str) -> bytes:
    """The bytes of a picture in a data address, as a tablet makes it. InputError for anything else."""
    head, _, body = text.partition(",")
    if not head.startswith("data:image/") or not head.endswith(";base64") or len(body) > 2 * LARGEST_BYTES:
        raise InputError("this is no picture", remedy="send a JPEG, PNG or WebP file", where="photo")
    try:
        return base64.b64decode(body, validate=True)
    except binascii.Error as wrong:
        raise InputError("the picture is cut off", remedy="send it again", where="photo") from wrong
