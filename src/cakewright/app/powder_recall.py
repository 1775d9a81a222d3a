"""Recall: from a lot to cans, pieces, orders and customers, and back from a piece or an order to its lots."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass

from cakewright.app.powder_books import ON_THE_SHELF, look
from cakewright.errors import InputError
from cakewright.powder.checks import need_fraction
from cakewright.sources.powder import RECALL_THRESHOLD, SHARE_KEPT
from cakewright.store import Store
from cakewright.store.powder_recall import RecalledBuild, RecalledLine, RecalledOrder

COLUMNS = ("lot", "plan", "build", "piece", "line", "order", "customer", "part", "revision", "share")
FORMULA = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True, slots=True)
class RecalledCan:
    """A can that holds `share` of the lot now: `lot_kg` of its `kg`."""

    can: str
    kind: str
    kg: float
    share: float

    @property
    def lot_kg(self) -> float:
        """Kilograms of the lot in it."""
        return self.kg * self.share


@dataclass(frozen=True, slots=True)
class Recall:
    """Everything that holds at least `threshold` (share) of a lot."""

    lot: str
    threshold: float
    cans: tuple[RecalledCan, ...]
    builds: tuple[RecalledBuild, ...]
    orders: tuple[RecalledOrder, ...]

    @property
    def pieces(self) -> int:
        """Pieces over all builds."""
        return sum(build.pieces for build in self.builds)

    @property
    def customers(self) -> tuple[tuple[str, int, tuple[str, ...]], ...]:
        """(customer, pieces, orders), most pieces first."""
        pieces: dict[str, int] = {}
        orders: dict[str, list[str]] = {}
        for order in self.orders:
            pieces[order.customer] = pieces.get(order.customer, 0) + order.pieces
            orders.setdefault(order.customer, []).append(order.order)
        ranked = sorted(pieces, key=lambda who: (-pieces[who], who))
        return tuple((who, pieces[who], tuple(orders[who])) for who in ranked)


def recall_lot(store: Store, lot: str, threshold: float = RECALL_THRESHOLD.value) -> Recall:
    """What holds at least `threshold` of a lot; the threshold is part of the answer.

    Shares below `SHARE_KEPT` are not kept with builds, so a smaller threshold is refused.
    """
    need_fraction("the recall threshold", threshold)
    if threshold < SHARE_KEPT.value:
        raise InputError(
            f"a threshold of {threshold:.3%}", remedy=f"give {SHARE_KEPT.value:.1%} or more: less is not kept"
        )
    view = look(store)
    key = lot.strip()
    if view.is_empty or key not in view.graph.origins:
        known = ", ".join(view.graph.origins) if not view.is_empty else "none"
        raise InputError(f"nothing of lot {key!r} ever came in", remedy=f"known: {known}", where="lot")
    cans = [
        RecalledCan(can, view.ledger.containers[can].kind.value, view.ledger.kg(can), share)
        for can, share in view.graph.recall(key, threshold).items()
        if view.ledger.containers[can].kind in ON_THE_SHELF and view.ledger.kg(can) > 0
    ]
    asked = store.powder.recall
    return Recall(key, threshold, tuple(cans), asked.builds(key, threshold), asked.orders(key, threshold))


def recalled_lines(store: Store, found: Recall, builds: int = 20) -> tuple[RecalledLine, ...]:
    """Lines of the builds with the largest shares of a recall."""
    return store.powder.recall.lines(found.lot, found.threshold, builds)


def recall_csv(store: Store, lot: str, threshold: float = RECALL_THRESHOLD.value) -> Iterator[str]:
    """The single pieces of a recall as CSV text, row by row, with customer and order."""
    found = recall_lot(store, lot, threshold)
    about = {(line.plan, line.line): line for line in store.powder.recall.lines(found.lot, threshold)}
    yield _row(COLUMNS)
    for piece in store.powder.recall.pieces(found.lot, threshold):
        line = about[piece.plan, piece.line]
        yield _row((found.lot, piece.plan, piece.build, piece.piece, piece.line, line.order, line.customer, line.part,
                    line.revision, f"{piece.share:.4f}"))  # fmt: skip


def lots_of_piece(store: Store, plan: int, piece: str) -> dict[str, float]:
    """Share by lot of one piece; InputError when it was not printed."""
    shares = store.powder.recall.lots_of_piece(plan, piece.strip())
    if not shares:
        raise InputError(
            f"no powder is booked for piece {piece!r} of plan {plan}",
            remedy="check the piece; its build has to be booked back first",
            where="piece",
        )
    return shares


@dataclass(frozen=True, slots=True)
class Origin:
    """What pieces of one build were made of: for which (a piece or a line), and (lot, share), most first."""

    plan: int
    build: str
    what: str
    lots: tuple[tuple[str, float], ...]


def origins_of(store: Store, text: str, plan: int | None = None) -> tuple[Origin, ...]:
    """Back from a piece (of `plan`, default the newest) or an order to lots; InputError when neither was printed."""
    asked = text.strip()
    if not asked:
        raise InputError("nothing is named", remedy="give a piece such as L07-03, or an order number", where="made")
    version = plan if plan is not None else store.newest()
    shares = store.powder.recall.lots_of_piece(version, asked) if version is not None else {}
    if shares and version is not None:
        build = store.powder.recall.build_of_piece(version, asked) or ""
        return (Origin(version, build, asked, tuple(shares.items())),)
    lots: dict[tuple[int, str, int], list[tuple[str, float]]] = {}
    for number, build, line, origin, share in store.powder.recall.lots_of_order(asked):
        lots.setdefault((number, build, line), []).append((origin, share))
    if not lots:
        raise InputError(
            f"no powder is booked for a piece or an order {asked!r}",
            remedy="check the number; its build has to be booked back first",
            where="made",
        )
    return tuple(Origin(n, b, f"L{line:02d}", tuple(pairs)) for (n, b, line), pairs in lots.items())


def _row(values: tuple[object, ...]) -> str:
    """One CSV row; text that a spreadsheet would run is made plain."""
    safe = [f"'{v}" if isinstance(v, str) and v.startswith(FORMULA) else v for v in values]
    out = io.StringIO()
    csv.writer(out, lineterminator="\r\n").writerow(safe)
    return out.getvalue()
