"""What a finish does to sizes, learnt from pieces measured before and after, and given back to limits and ways up."""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

from cakewright.app.authority import Step, require
from cakewright.app.floor_note import keep
from cakewright.errors import InputError
from cakewright.model.cell import Cell, Finish, Material
from cakewright.model.floor import FloorKind, FloorRecord, Value
from cakewright.model.plan import WeekPlan
from cakewright.parts.limits import limits_of
from cakewright.sources.floor import FINISH_VALUES
from cakewright.store import Store

_THIN = ("wall_mm", "pin_mm", "text_stroke_mm")  # lose a face on both sides
_OPEN = ("hole_mm", "slot_mm", "moving_mm", "moving_small_mm")  # lose room when faces grow


@dataclass(frozen=True, slots=True)
class FinishEffect:
    """Growth of each face (mm, below zero: taken off) by a finish, with its standard error; share of the mass.

    `is_used`: enough values, and more than two standard errors away from nothing.
    """

    finish: str
    values: int
    face_mm: float
    error_mm: float
    mass_share: float | None

    @property
    def is_used(self) -> bool:
        """True when the next check and the next ways up count on it."""
        return self.values >= FINISH_VALUES.value and abs(self.face_mm) > 2.0 * self.error_mm


def keep_change(
    store: Store, plan: WeekPlan, line: int, *, piece: str, name: str, before: float, after: float, kind: str, by: str,
    at: datetime, uid: str = "", kept_at: datetime | None = None,
) -> FloorRecord:  # fmt: skip
    """Keep one value before and after the finish of its line: `kind` is outside, hole (mm) or mass (g).

    InputError for a strange piece, a line without finish, values that cannot be, or a change above a tenth.
    """
    pieces = {p.piece: b.key for b in plan.builds_of(line) for p in b.pieces_of(line)}
    if piece not in pieces:
        raise InputError(f"line {line} has no piece {piece[:40]!r}", remedy=f"one of: {', '.join(list(pieces)[:6])}")
    finish = plan.cell.finish(plan.line(line).finish)
    if not finish.steps:
        raise InputError(f"line {line} is '{finish.name}', which has no step", remedy="measure a line that is finished")
    if kind not in ("outside", "hole", "mass"):
        raise InputError(f"{kind[:20]!r} is no kind of value", remedy="outside, hole or mass", where="kind")
    if not before > 0 or not after > 0 or abs(after / before - 1.0) > 0.1:
        raise InputError(f"{before:g} before, {after:g} after", remedy="measure the same place again", where="after")
    require(store, by, Step.INSPECT, at.date())
    data: dict[str, Value] = {"finish": finish.name, "name": name.strip(), "before": before, "after": after,
                              "kind": kind, "material": plan.line(line).material}  # fmt: skip
    return keep(store, plan, FloorKind.FINISHED, data, by=by, at=at, build=pieces[piece], line=line, piece=piece,
                uid=uid, kept_at=kept_at)  # fmt: skip


def finish_effects(store: Store) -> tuple[FinishEffect, ...]:
    """What each finish does, from everything that was measured before and after."""
    faces: dict[str, list[float]] = {}
    masses: dict[str, list[float]] = {}
    for r in store.floor.records(kind=FloorKind.FINISHED):
        before, after = float(r.data["before"]), float(r.data["after"])
        if r.data["kind"] == "mass":
            masses.setdefault(str(r.data["finish"]), []).append(after / before - 1.0)
        else:
            inward = -1.0 if r.data["kind"] == "hole" else 1.0
            faces.setdefault(str(r.data["finish"]), []).append(inward * (after - before) / 2.0)
    return tuple(_effect(name, faces.get(name, []), masses.get(name, [])) for name in sorted({*faces, *masses}))


def with_finish_effects(finishes: Iterable[Finish], store: Store) -> tuple[Finish, ...]:
    """The finishes with what was learnt about them, for the checks of the next plan."""
    learnt = {e.finish: e.face_mm for e in finish_effects(store) if e.is_used}
    return tuple(replace(f, face_mm=learnt.get(f.name, f.face_mm)) for f in finishes)


def limits_before_finish(material: Material, finish: Finish) -> Material:
    """The material with limits that still hold after the finish: what it takes off is added before it.

    Walls, pins and strokes lose a face on both sides; holes, slots and gaps lose room when faces grow.
    """
    if finish.face_mm == 0.0:
        return material
    have = limits_of(material)
    names, more = (_THIN, -2.0 * finish.face_mm) if finish.face_mm < 0 else (_OPEN, 2.0 * finish.face_mm)
    changed = {name: have[name] + more for name in names}
    wall = changed.pop("wall_mm", material.minimum_wall_mm)
    own = {**dict(material.limits), **changed}
    if "wall_mm" in own:
        own["wall_mm"] = wall
    return replace(material, minimum_wall_mm=wall, limits=tuple(own.items()))


def evened_mm(cell: Cell, finish: str) -> float:
    """How much of the height of layer steps a finish evens out: at most what it takes off a face."""
    return max(0.0, -cell.finish(finish).face_mm)


def _effect(name: str, faces: list[float], masses: list[float]) -> FinishEffect:
    mean = statistics.fmean(faces) if faces else 0.0
    error = statistics.stdev(faces) / math.sqrt(len(faces)) if len(faces) > 1 else math.inf
    return FinishEffect(name, len(faces), mean, error, statistics.fmean(masses) if masses else None)
