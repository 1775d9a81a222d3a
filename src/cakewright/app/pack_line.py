"""Pack a line: how many good pieces there are, what holds them, what went into which carton."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime

from cakewright.app.authority import Step, require
from cakewright.app.contain import REMAKE, mistakes
from cakewright.app.floor_note import keep
from cakewright.app.hold_lines import LineGate, gates, refuse_held
from cakewright.documents.words import piece_mass_g
from cakewright.errors import InputError
from cakewright.model.floor import FloorKind, FloorRecord, Value
from cakewright.model.plan import TaskKind, WeekPlan
from cakewright.sources.quality import MASS_SPREAD
from cakewright.store import PieceState, Store, last_words


@dataclass(frozen=True, slots=True)
class Packing:
    """One line on the packing bench: pieces ordered, built, found, gone or rejected, packed; and its gate."""

    line: int
    ordered: int
    built: int
    found: int
    rejected: int
    packed: int
    gate: LineGate
    cartons: tuple[FloorRecord, ...]

    @property
    def ready(self) -> int:
        """Good pieces that are found and not packed yet."""
        return max(0, self.found - self.rejected - self.packed)

    @property
    def short(self) -> int:
        """Pieces that the order still misses and nobody can pack now."""
        return max(0, self.ordered - self.packed - self.ready)

    @property
    def surplus(self) -> int:
        """Good pieces beyond the order: the customer's design, neither to be sold nor left lying."""
        return max(0, self.ready + self.packed - self.ordered)


def packing_of_order(store: Store, plan: WeekPlan, order: str) -> tuple[Packing, ...]:
    """Every line of an order as it lies on the packing bench."""
    numbers = tuple(line.line for line in plan.orders.lines if line.order == order)
    if not numbers:
        raise InputError(f"plan {plan.version} has no order {order[:40]!r}", remedy="choose one from the list")
    shut = gates(store, plan, numbers)
    return tuple(packing_of_line(store, plan, n, shut[n]) for n in numbers)


def packing_of_line(store: Store, plan: WeekPlan, line: int, gate: LineGate) -> Packing:
    """Counts of one line from break-out, decisions and cartons."""
    pieces = {p.piece for b in plan.builds_of(line) for p in b.pieces_of(line) if not p.is_cage}
    found: set[str] = set()
    for b in plan.builds_of(line):
        said = last_words(store.piece_records(plan.version, b.key))
        found |= {piece for piece, r in said.items() if piece in pieces and r.state is PieceState.FOUND}
    rejected = {m.record.piece for m in mistakes(store, plan)
                if m.record.line == line and m.decision and m.decision.data["decision"] == REMAKE}  # fmt: skip
    cartons = tuple(r for r in store.floor.records(plan=plan.version, kind=FloorKind.PACKED) if r.line == line)
    packed = sum(int(r.data["pieces"]) for r in cartons)
    return Packing(line, plan.line(line).quantity, len(pieces), len(found), len(rejected & found), packed, gate,
                   cartons)  # fmt: skip


def pack(
    store: Store, plan: WeekPlan, line: int, *, pieces: int, carton: str, by: str, at: datetime,
    mass_g: float | None = None, uid: str = "", kept_at: datetime | None = None,
) -> FloorRecord:  # fmt: skip
    """Put pieces of a line into a carton; the last one notes the end of packing.

    InputError while the line is held (with the reason), for more pieces than are good and found, for a mass that
    does not fit the count at three sigmas, or without authority.
    """
    known = next((r for r in store.floor.records(plan=plan.version, kind=FloorKind.PACKED) if uid and r.uid == uid),
                 None)  # fmt: skip
    if known is not None:
        return known
    require(store, by, Step.PACK, at.date())
    refuse_held(store, plan, line)
    here = packing_of_line(store, plan, line, gates(store, plan, (line,))[line])
    if not 1 <= pieces <= here.ready:
        raise InputError(f"{pieces} pieces, but {here.ready} are found, good and not packed yet",
                         remedy="count again; say at break-out which are found", where="pieces")  # fmt: skip
    _check_mass(plan, line, pieces, mass_g)
    data: dict[str, Value] = {"pieces": pieces, "carton": carton.strip()}
    if mass_g is not None:
        data["mass_g"] = mass_g
    record = keep(store, plan, FloorKind.PACKED, data, by=by, at=at, line=line, uid=uid, kept_at=kept_at)
    if here.packed + pieces >= here.ordered and _has_task(plan, line):
        store.schedule.note_progress(plan=plan.version, kind=TaskKind.PACK, line=line, ended=at, at=kept_at or at,
                                     by=by)  # fmt: skip
    return record


def expected_mass_g(plan: WeekPlan, line: int, pieces: int) -> tuple[float, float] | None:
    """(mass of so many pieces, three sigmas of it) in g; None without a mesh.

    Pieces of one build share most of their error, so the spread of one piece is taken for all of them.
    """
    one = piece_mass_g(plan, plan.line(line))
    return None if one is None else (one * pieces, 3.0 * MASS_SPREAD.value * one * pieces)


def _check_mass(plan: WeekPlan, line: int, pieces: int, mass_g: float | None) -> None:
    wanted = expected_mass_g(plan, line, pieces)
    if mass_g is None or wanted is None:
        return
    one = wanted[0] / pieces
    if abs(mass_g - wanted[0]) > wanted[1] + one / 2:
        raise InputError(
            f"{mass_g:.1f} g in the carton, {pieces} pieces should weigh {wanted[0]:.1f} g ± {wanted[1]:.1f} g: "
            f"that looks like {max(0, math.floor(mass_g / one + 0.5))}", remedy="count and weigh again", where="mass",
        )  # fmt: skip


def _has_task(plan: WeekPlan, line: int) -> bool:
    return any(t.kind is TaskKind.PACK and line in t.lines for t in plan.schedule.tasks)
