"""From a lot to pieces, orders and customers and back, in the database; two indexes make it quick."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sqlalchemy import Engine, Select, func, select

from cakewright.store import schema
from cakewright.store import schema_powder as tables
from cakewright.store.engine import reading

CHUNK = 10_000


@dataclass(frozen=True, slots=True)
class RecalledBuild:
    """A printed build whose pieces hold `share` of the lot."""

    plan: int
    build: str
    share: float
    pieces: int


@dataclass(frozen=True, slots=True)
class RecalledOrder:
    """Pieces for one order of one customer; `share` is the largest among its builds."""

    order: str
    customer: str
    pieces: int
    builds: int
    share: float


@dataclass(frozen=True, slots=True)
class RecalledLine:
    """Pieces of one order line in one build that hold `share` of the lot."""

    plan: int
    build: str
    line: int
    order: str
    customer: str
    part: str
    revision: str
    pieces: int
    share: float


@dataclass(frozen=True, slots=True)
class RecalledPiece:
    """One piece that holds `share` of the lot."""

    plan: int
    build: str
    piece: str
    line: int
    share: float


class RecallTables:
    """Questions of recall to one database."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def builds(self, origin: str, threshold: float) -> tuple[RecalledBuild, ...]:
        """Every printed build whose pieces hold at least `threshold` (share) of an origin, most first."""
        share, going = tables.share.c, tables.order.c
        query = (
            select(share.plan, share.build, share.share, func.sum(going.pieces).label("pieces"))
            .join(tables.order, (going.plan == share.plan) & (going.build == share.build))
            .where((share.origin == origin) & (share.share >= threshold))
            .group_by(share.plan, share.build, share.share)
            .order_by(share.share.desc(), share.plan, share.build)
        )
        with reading(self._engine) as link:
            return tuple(RecalledBuild(r.plan, r.build, r.share, r.pieces) for r in link.execute(query))

    def orders(self, origin: str, threshold: float) -> tuple[RecalledOrder, ...]:
        """Every order with pieces that hold as much, by customer."""
        share, going = tables.share.c, tables.order.c
        query = (
            select(
                going.order_number, going.customer, func.sum(going.pieces).label("pieces"),
                func.count().label("builds"), func.max(share.share).label("share"),
            )
            .join(tables.order, (going.plan == share.plan) & (going.build == share.build))
            .where((share.origin == origin) & (share.share >= threshold))
            .group_by(going.customer, going.order_number)
            .order_by(going.customer, going.order_number)
        )  # fmt: skip
        with reading(self._engine) as link:
            return tuple(RecalledOrder(r.order_number, r.customer, r.pieces, r.builds, r.share)
                         for r in link.execute(query))  # fmt: skip

    def lines(self, origin: str, threshold: float, most: int | None = None) -> tuple[RecalledLine, ...]:
        """Every line with pieces that hold at least `threshold` (share) of an origin, most first.

        `most`: only those of the `most` builds with the largest shares.
        """
        counted = _hit(origin, threshold, most).subquery()
        line = schema.order_line.c
        query = (
            select(counted, line.order_number, line.customer, line.part, line.revision)
            .join(schema.order_line, (line.plan == counted.c.plan) & (line.line == counted.c.line))
            .order_by(counted.c.share.desc(), counted.c.plan, counted.c.build, counted.c.line)
        )
        with reading(self._engine) as link:
            return tuple(
                RecalledLine(
                    row.plan, row.build, row.line, row.order_number, row.customer, row.part, row.revision,
                    row.pieces, row.share,
                )
                for row in link.execute(query)
            )  # fmt: skip

    def pieces(self, origin: str, threshold: float) -> Iterator[RecalledPiece]:
        """Every single piece of it, build by build; read in portions, so that a million fit in little memory."""
        place, share = schema.placement.c, tables.share.c
        query = (
            select(share.plan, share.build, place.piece, place.line, share.share)
            .join(schema.placement, (place.plan == share.plan) & (place.build == share.build))
            .where((share.origin == origin) & (share.share >= threshold))
            .order_by(share.plan, share.build, place.position)
        )
        with reading(self._engine) as link:
            for rows in link.execution_options(yield_per=CHUNK).execute(query).partitions():
                for row in rows:
                    yield RecalledPiece(row.plan, row.build, row.piece, row.line, row.share)

    def lots_of_piece(self, plan: int, piece: str) -> dict[str, float]:
        """What a piece was made of: share by origin, most first; empty when it was not printed."""
        place, share = schema.placement.c, tables.share.c
        query = (
            select(share.origin, share.share)
            .join(schema.placement, (place.plan == share.plan) & (place.build == share.build))
            .where((place.plan == plan) & (place.piece == piece))
            .order_by(share.share.desc())
        )
        with reading(self._engine) as link:
            return {row.origin: row.share for row in link.execute(query)}

    def build_of_piece(self, plan: int, piece: str) -> str | None:
        """The build of a piece, None for a strange one."""
        place = schema.placement.c
        with reading(self._engine) as link:
            found: str | None = link.scalar(select(place.build).where((place.plan == plan) & (place.piece == piece)))
            return found

    def lots_of_order(self, order: str) -> tuple[tuple[int, str, int, str, float], ...]:
        """(plan, build, line, origin, share) of everything printed for an order."""
        place, share, line = schema.placement.c, tables.share.c, schema.order_line.c
        query = (
            select(share.plan, share.build, line.line, share.origin, share.share)
            .join(schema.placement, (place.plan == share.plan) & (place.build == share.build))
            .join(schema.order_line, (line.plan == place.plan) & (line.line == place.line))
            .where(line.order_number == order)
            .distinct()
            .order_by(share.plan, share.build, line.line, share.share.desc())
        )
        with reading(self._engine) as link:
            return tuple((r.plan, r.build, r.line, r.origin, r.share) for r in link.execute(query))


def _hit(origin: str, threshold: float, most: int | None) -> Select[tuple[int, str, float, int, int]]:
    """Pieces counted by build and line, over all builds above the threshold or the strongest of them."""
    place, strong = schema.placement.c, tables.share
    chosen = select(strong).where((strong.c.origin == origin) & (strong.c.share >= threshold))
    share = chosen.order_by(strong.c.share.desc()).limit(most).subquery().c
    return (
        select(share.plan, share.build, share.share, place.line, func.count().label("pieces"))
        .where((place.plan == share.plan) & (place.build == share.build))
        .group_by(share.plan, share.build, share.share, place.line)
    )
