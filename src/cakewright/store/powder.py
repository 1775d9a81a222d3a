"""The powder books in the database: read whole, written by appending in one transaction, never changed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Engine, delete, func, insert, select

from cakewright.errors import InputError
from cakewright.powder.ledger import OUTSIDE, Container, ContainerKind, Entry, EntryKind, Ledger, Lot
from cakewright.store import schema
from cakewright.store import schema_powder as tables
from cakewright.store.engine import reading, writing
from cakewright.store.powder_recall import RecallTables
from cakewright.store.server import Desk

LABEL, LABELLED, LOST = "label", "labelled", "lost"
HOLD, FREE = "decision", "free"


@dataclass(frozen=True, slots=True)
class Remark:
    """Something said about a lot, a container, a machine or a month: `what` is the matter, `value` the word."""

    number: int
    about: str
    key: str
    what: str
    value: str
    reason: str
    at: datetime
    by: str


@dataclass(frozen=True, slots=True)
class FlowReading:
    """A melt flow (g/10 min) measured on a container as it was after entry `after_entry`."""

    number: int
    container: str
    after_entry: int
    melt_flow: float
    relative_sigma: float
    note: str
    at: datetime
    by: str


@dataclass(frozen=True, slots=True)
class ContainerFacts:
    """What the books know of a container beyond the domain: for which build, since when, by whom."""

    plan: int | None
    build: str | None
    note: str
    at: datetime
    by: str


@dataclass(frozen=True, slots=True)
class Books:
    """Everything the powder tables hold at one moment. `mark` changes whenever anything is added."""

    mark: tuple[int, ...]
    ledger: Ledger
    facts: dict[str, ContainerFacts]
    remarks: tuple[Remark, ...]
    readings: tuple[FlowReading, ...]
    certificate_flow: Mapping[str, float] = field(default_factory=dict)

    def remarks_on(self, about: str, key: str) -> tuple[Remark, ...]:
        """What was said about one thing, oldest first."""
        return tuple(r for r in self.remarks if r.about == about and r.key == key)

    def container_of(self, plan: int, build: str, kind: ContainerKind) -> str | None:
        """The container of that kind made for a build of a plan, None when there is none."""
        return next(
            (
                key
                for key, fact in self.facts.items()
                if fact.plan == plan and fact.build == build and self.ledger.containers[key].kind is kind
            ),
            None,
        )


class Booking:
    """One open transaction over the books: what is done through it is kept together, or not at all."""

    def __init__(self, link: Connection, books: Books) -> None:
        self._link = link
        self.books = books

    @property
    def ledger(self) -> Ledger:
        """The ledger as it stands inside this transaction."""
        return self.books.ledger

    def add_lot(self, lot: Lot, *, at: datetime, by: str, melt_flow: float | None = None) -> None:
        """Make a supplier lot known."""
        self.ledger.add_lot(lot)
        row = {name: getattr(lot, name) for name in
               ("key", "material", "supplier_lot", "received", "certificate", "expires", "storage")}  # fmt: skip
        self._link.execute(insert(tables.lot), {**row, "melt_flow": melt_flow, "at": at, "by": _named(by)})

    def add_container(
        self,
        container: Container,
        *,
        at: datetime,
        by: str,
        plan: int | None = None,
        build: str | None = None,
        note: str = "",
    ) -> None:
        """Make a container known, empty."""
        self.ledger.add_container(container)
        row = {
            "key": container.key, "kind": container.kind.value, "material": container.material, "lot": container.lot,
            "capacity_g": None if container.capacity_kg is None else round(container.capacity_kg * 1000),
            "plan": plan, "build": build if plan is not None else None, "may_owe": container.kind in OUTSIDE,
            "note": note, "at": at, "by": _named(by),
        }  # fmt: skip
        self._link.execute(insert(tables.container), row)
        self.books.facts[container.key] = ContainerFacts(plan, build if plan is not None else None, note, at, by)

    def move(self, **movement: Any) -> Entry:
        """`Ledger.move`, kept."""
        return self._keep(self.ledger.move(**movement))

    def correct(self, number: int, *, kg: float, at: datetime, who: str, reason: str) -> Entry:
        """`Ledger.correct`, kept."""
        return self._keep(self.ledger.correct(number, kg=kg, at=at, who=who, reason=reason))

    def weigh_in(self, container: str, **reading: Any) -> Entry | None:
        """`Ledger.weigh_in`, kept."""
        entry = self.ledger.weigh_in(container, **reading)
        return None if entry is None else self._keep(entry)

    def remark(self, about: str, key: str, what: str, value: str, *, at: datetime, by: str, reason: str = "") -> None:
        """Append a word about something."""
        row = {"about": about, "key": key, "what": what, "value": value, "reason": reason, "at": at, "by": _named(by)}
        self._link.execute(insert(tables.remark), row)

    def read_flow(
        self, container: str, *, melt_flow: float, relative_sigma: float, at: datetime, by: str, note: str = ""
    ) -> None:
        """Append a measurement of melt flow."""
        row = {"container": self.ledger.container(container).key, "after_entry": len(self.ledger.entries),
               "melt_flow": melt_flow, "relative_sigma": relative_sigma, "note": note, "at": at,
               "by": _named(by)}  # fmt: skip
        self._link.execute(insert(tables.reading), row)

    def keep_shares(self, plan: int, build: str, shares: Mapping[str, float]) -> None:
        """What is in the parts of a build, by origin: replaces what was worked out before."""
        table = tables.share
        self._link.execute(delete(table).where((table.c.plan == plan) & (table.c.build == build)))
        rows = [{"origin": o, "plan": plan, "build": build, "share": s} for o, s in shares.items()]
        going = tables.order.c
        self._link.execute(delete(tables.order).where((going.plan == plan) & (going.build == build)))
        if rows:
            self._link.execute(insert(table), rows)
            self._count_orders(plan, build)

    def _count_orders(self, plan: int, build: str) -> None:
        """For whom the pieces of a build are; counted again whenever its shares are."""
        place, line, going = schema.placement.c, schema.order_line.c, tables.order
        counted = (
            select(place.plan, place.build, line.order_number, line.customer, func.count())
            .join(schema.order_line, (line.plan == place.plan) & (line.line == place.line))
            .where((place.plan == plan) & (place.build == build))
            .group_by(place.plan, place.build, line.order_number, line.customer)
        )
        self._link.execute(insert(going).from_select([column.name for column in going.columns], counted))

    def _keep(self, entry: Entry) -> Entry:
        row = {name: getattr(entry, name) for name in Entry.__dataclass_fields__}
        self._link.execute(insert(tables.entry), {**row, "kind": entry.kind.value})
        return entry


class PowderTables:
    """The powder side of a store."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    @property
    def recall(self) -> RecallTables:
        """Questions from lots to pieces and back."""
        return RecallTables(self._engine)

    def mark(self) -> tuple[int, ...]:
        """A fingerprint of the books that changes whenever anything is added."""
        with reading(self._engine) as link:
            return _mark(link)

    def read(self) -> Books:
        """The books as they are now."""
        with reading(self._engine) as link:
            return _books(link)

    @contextmanager
    def booking(self) -> Iterator[Booking]:
        """Write to the books: the only writer until the end; everything is kept, or nothing after an error."""
        with writing(self._engine, Desk.POWDER) as link:
            yield Booking(link, _books(link))

    def levels(self) -> dict[str, int]:
        """Grams in each container as the database itself keeps them."""
        with reading(self._engine) as link:
            return {row.container: row.grams for row in link.execute(select(tables.level))}

    def shares(self, plan: int, build: str) -> dict[str, float]:
        """What is in the parts of a build, by origin, most first; empty before they were printed."""
        table = tables.share.c
        query = select(table.origin, table.share).where((table.plan == plan) & (table.build == build))
        with reading(self._engine) as link:
            return {row.origin: row.share for row in link.execute(query.order_by(table.share.desc()))}


def _mark(link: Connection) -> tuple[int, ...]:
    counted = (tables.lot, tables.container, tables.entry, tables.remark, tables.reading)
    return tuple(int(link.scalar(select(func.count()).select_from(table)) or 0) for table in counted)


def _books(link: Connection) -> Books:
    remarks = tuple(Remark(**row) for row in link.execute(_in_order(tables.remark)).mappings())
    said: dict[tuple[str, str], dict[str, Remark]] = defaultdict(dict)
    for remark in remarks:
        said[remark.about, remark.key][remark.what] = remark
    lots = [dict(row) for row in link.execute(select(tables.lot)).mappings()]
    containers = [dict(row) for row in link.execute(select(tables.container)).mappings()]
    entries = [Entry(number, at, _KINDS[kind], *rest) for number, at, kind, *rest in link.execute(_ENTRIES)]
    ledger = Ledger.restore(
        [_lot(row, said["lot", row["key"]]) for row in lots],
        [_container(row, said["container", row["key"]]) for row in containers],
        entries,
    )
    facts = {row["key"]: ContainerFacts(*(row[n] for n in ContainerFacts.__slots__)) for row in containers}
    readings = tuple(FlowReading(**row) for row in link.execute(_in_order(tables.reading)).mappings())
    flows = {row["key"]: row["melt_flow"] for row in lots if row["melt_flow"] is not None}
    return Books(_mark(link), ledger, facts, remarks, readings, flows)


_KINDS = {kind.value: kind for kind in EntryKind}
_ENTRIES = select(*(tables.entry.c[name] for name in Entry.__dataclass_fields__)).order_by(tables.entry.c.number)


def _in_order(table: Any) -> Any:
    return select(table).order_by(table.c.number)


def _lot(row: Mapping[str, Any], said: Mapping[str, Remark]) -> Lot:
    """A lot as received, with what was filed since."""
    expires = said["expires"].value if "expires" in said else None
    opened = said["opened"].at.date() if "opened" in said else None
    return Lot(
        row["key"],
        row["material"],
        row["supplier_lot"],
        row["received"],
        said["certificate"].value if "certificate" in said else row["certificate"],
        type(row["received"]).fromisoformat(expires) if expires else row["expires"],
        opened,
        said["storage"].value if "storage" in said else row["storage"],
        f"{said[HOLD].value}: {said[HOLD].reason}" if HOLD in said and said[HOLD].value != FREE else "",
    )


def _container(row: Mapping[str, Any], said: Mapping[str, Remark]) -> Container:
    capacity = row["capacity_g"]
    return Container(
        row["key"],
        ContainerKind(row["kind"]),
        row["material"],
        LABEL not in said or said[LABEL].value == LABELLED,
        None if capacity is None else capacity / 1000,
        row["lot"],
    )


def _named(by: str) -> str:
    if not by.strip():
        raise InputError("nobody's name is given", remedy="say who you are", where="by")
    return by.strip()
