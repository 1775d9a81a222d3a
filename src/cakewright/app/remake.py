"""What is to be made again: lines with the date of their order, written into an order list that the next plan reads."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

from cakewright.app.contain import REMAKE, mistakes
from cakewright.documents.words import piece_mass_g
from cakewright.formats.orders_write import orders_csv
from cakewright.model.order import OrderLine
from cakewright.model.plan import WeekPlan
from cakewright.store import PieceState, Store, last_words

_GONE = (PieceState.MISSING, PieceState.BROKEN)


@dataclass(frozen=True, slots=True)
class Remake:
    """Pieces of a line to be made again: why each is lost, their mass, how many are left to order, the new line."""

    line: int
    lost: tuple[tuple[str, str], ...]
    scrap_g: float | None
    pieces: int
    ordered_again: int
    order: OrderLine | None


def remakes(store: Store, plan: WeekPlan) -> tuple[Remake, ...]:
    """Every line that lost pieces. Surplus pieces that were made against scrap count before anything is made again.

    Pieces that the newest plan holds already as a remake of the line are not asked for twice.
    """
    lost = _lost(store, plan)
    newest = store.newest()
    later = store.load_plan(newest) if newest is not None and newest != plan.version else plan
    free = max((x.line for p in (plan, later) for x in p.orders.lines), default=0) + 1
    found = []
    for number in sorted(lost):
        line = plan.line(number)
        built = sum(not p.is_cage for b in plan.builds_of(number) for p in b.pieces_of(number))
        again = sum(x.quantity for x in later.orders.lines if mark_of_remake(plan, number) in x.flags)
        pieces = max(0, min(line.quantity, line.quantity - (built - len(lost[number]))) - again)
        made = _line(plan, line, free, pieces) if pieces else None
        free += bool(pieces)
        one = piece_mass_g(plan, line)
        found.append(Remake(number, tuple(lost[number].items()), None if one is None else one * len(lost[number]),
                            pieces, again, made))  # fmt: skip
    return tuple(found)


def remake_list(store: Store, plan: WeekPlan, *, with_orders: Iterable[OrderLine] = ()) -> str:
    """The order list (CSV) of everything to be made again, after the lines of `with_orders`.

    Line numbers that are taken there are counted on.
    """
    lines = list(with_orders)
    taken = {x.line for x in lines}
    for made in (r.order for r in remakes(store, plan) if r.order is not None):
        number = made.line if made.line not in taken else max(taken) + 1
        taken.add(number)
        lines.append(replace(made, line=number))
    return orders_csv(lines)


def mark_of_remake(plan: WeekPlan, line: int) -> str:
    """The flag of a line that makes pieces of another one again."""
    return f"remake of plan {plan.version} L{line:02d}"


def scrap_kg(store: Store, material: str, start: datetime, end: datetime) -> float:
    """Mass of the pieces of a material that were lost in [start, end): rejected, broken, missing; from their volume."""
    total = 0.0
    for summary in store.plans():
        if not _has_losses(store, summary.version):
            continue
        plan = store.load_plan(summary.version)
        for number, pieces in _lost(store, plan, (start, end)).items():
            one = piece_mass_g(plan, plan.line(number)) if plan.line(number).material == material else None
            total += (one or 0.0) * len(pieces) / 1000.0
    return total


def _has_losses(store: Store, version: int) -> bool:
    return store.lost_pieces(version) or any(
        r.data.get("decision") == REMAKE for r in store.floor.records(plan=version)
    )


def _line(plan: WeekPlan, line: OrderLine, number: int, pieces: int) -> OrderLine:
    kept = tuple(flag for flag in line.flags if not flag.startswith("remake of plan"))
    return replace(line, line=number, quantity=pieces, flags=(*kept, mark_of_remake(plan, line.line)), where="remake")


def _lost(
    store: Store, plan: WeekPlan, during: tuple[datetime, datetime] | None = None
) -> dict[int, dict[str, str]]:  # fmt: skip
    """For each line its lost pieces with the reason: rejected by decision, missing or broken at break-out."""
    found: dict[int, dict[str, str]] = {}

    def lose(line: int | None, piece: str, why: str, at: datetime) -> None:
        if line is not None and (during is None or during[0] <= at < during[1]):
            found.setdefault(line, {})[piece] = why

    for b in plan.builds:
        of = {p.piece: p.line for p in b.nest.placements if not p.is_cage}
        for piece, said in last_words(store.piece_records(plan.version, b.key)).items():
            if said.state in _GONE and piece in of:
                lose(of[piece], piece, str(said.state.value), said.at)
    for m in mistakes(store, plan):
        if m.decision is not None and m.decision.data["decision"] == REMAKE:
            lose(m.record.line, m.record.piece, str(m.record.data["what"]), m.decision.at)
    return found
