"""Customers in the store: who sees whose files, dates of deletion, and shapes that are taken out of the database."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import Connection, Engine, delete, func, insert, select, update

from cakewright.errors import InputError
from cakewright.model.mesh import Mesh
from cakewright.store import schema
from cakewright.store.engine import reading, writing
from cakewright.store.schema_accounts import account
from cakewright.store.schema_customers import account_customer, customer_date, customer_deletion
from cakewright.store.schema_offers import offer
from cakewright.store.schema_parts import signature
from cakewright.store.server import Desk
from cakewright.store.types import pack


@dataclass(frozen=True, slots=True)
class CustomerFacts:
    """How much is kept of a customer. `delete_on` None: nobody has set a day."""

    name: str
    plans: int
    lines: int
    quotes: int
    delete_on: date | None = None


@dataclass(frozen=True, slots=True)
class Deletion:
    """What was deleted of a customer: when, by whom, the report that was given."""

    number: int
    customer: str
    at: datetime
    by: str
    report: str


@dataclass(frozen=True, slots=True)
class Shape:
    """A part of a customer in a plan: its geometry, its file, its outer size."""

    plan: int
    key: str
    name: str
    mesh_sha256: str
    file_sha256: str
    size_mm: tuple[float, float, float]


class CustomerTables:
    """The customers' side of a store."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def facts(self) -> tuple[CustomerFacts, ...]:
        """Every customer that a plan or a quote names, by name."""
        line = schema.order_line.c
        counted = select(line.customer, func.count(line.plan.distinct()), func.count()).group_by(line.customer)
        with reading(self._engine) as link:
            plans = {row[0]: (row[1], row[2]) for row in link.execute(counted)}
            offered = select(offer.c.customer, func.count(offer.c.number.distinct())).group_by(offer.c.customer)
            quotes = {row[0]: int(row[1]) for row in link.execute(offered)}
            dates = _dates(link)
        names = sorted({*plans, *quotes, *dates}, key=str.casefold)
        return tuple(CustomerFacts(n, *plans.get(n, (0, 0)), quotes.get(n, 0), dates.get(n)) for n in names if n)

    def limits(self) -> dict[str, frozenset[str]]:
        """The customers that an account is limited to; accounts without an entry see everybody's."""
        found: dict[str, set[str]] = defaultdict(set)
        with reading(self._engine) as link:
            for row in link.execute(select(account_customer)):
                found[row.account].add(row.customer)
        return {name: frozenset(customers) for name, customers in found.items()}

    def limit(self, name: str, customers: Collection[str]) -> None:
        """Let an account see these customers' files only; all of them when none is named."""
        with writing(self._engine, Desk.ACCOUNTS) as link:
            if link.scalar(select(account.c.name).where(account.c.name == name)) is None:
                raise InputError(f"there is no account {name!r}", remedy="`cakewright people list` shows them")
            link.execute(delete(account_customer).where(account_customer.c.account == name))
            rows = [{"account": name, "customer": customer} for customer in sorted(set(customers))]
            if rows:
                link.execute(insert(account_customer), rows)

    def set_date(self, customer: str, delete_on: date | None, *, by: str, at: datetime, note: str = "") -> None:
        """Note from which day a customer's files are to be deleted; None: no day. The last word counts."""
        row = {"customer": customer, "delete_on": delete_on, "at": at, "by": by, "note": note[:500]}
        with writing(self._engine) as link:
            link.execute(insert(customer_date), row)

    def deletions(self) -> tuple[Deletion, ...]:
        """What was deleted so far, newest first."""
        query = select(customer_deletion).order_by(customer_deletion.c.number.desc())
        with reading(self._engine) as link:
            return tuple(Deletion(**row) for row in link.execute(query).mappings())

    def shapes(self, customer: str) -> tuple[Shape, ...]:
        """Every part that a line of the customer is made from, oldest plan first."""
        part, line = schema.part.c, schema.order_line.c
        query = (
            select(part.plan, part.key, part.name, part.mesh_sha256, part.file_sha256)
            .add_columns(part.size_x_mm, part.size_y_mm, part.size_z_mm)
            .join(schema.order_line, (line.plan == part.plan) & (line.part_key == part.key))
            .where(line.customer == customer)
            .distinct()
            .order_by(part.plan, part.key)
        )
        with reading(self._engine) as link:
            return tuple(Shape(r[0], r[1], r[2], r[3], r[4], (r[5], r[6], r[7])) for r in link.execute(query))

    def needed_by_others(self, customer: str) -> frozenset[str]:
        """Hashes of meshes, and of files, that a line or a quote of another customer is made from as well."""
        part, line = schema.part.c, schema.order_line.c
        query = (
            select(part.mesh_sha256, part.file_sha256)
            .join(schema.order_line, (line.plan == part.plan) & (line.part_key == part.key))
            .where(line.customer != customer)
        )
        with reading(self._engine) as link:
            both = {digest for row in link.execute(query) for digest in row}
            both |= set(link.scalars(select(offer.c.file_sha256).where(offer.c.customer != customer)))
            return frozenset(both)

    def erase(self, customer: str, stand_ins: Mapping[str, Mesh], *, report: str, by: str, at: datetime) -> int:
        """Put a plain block in the place of each mesh of the customer, take the meshes out, note the report.

        `stand_ins`: the block for each mesh hash. One transaction; on a file the freed pages are overwritten.
        The number of the entry on record.
        """
        with writing(self._engine) as link:
            if link.dialect.name == "sqlite":
                link.exec_driver_sql("PRAGMA secure_delete=ON")
            for digest, block in stand_ins.items():
                _keep_mesh(link, block)
                part = schema.part.c.mesh_sha256
                link.execute(update(schema.part).where(part == digest).values(mesh_sha256=block.sha256))
                link.execute(delete(signature).where(signature.c.mesh_sha256 == digest))
                link.execute(delete(schema.mesh).where(schema.mesh.c.sha256 == digest))
            row = {"customer": customer, "at": at, "by": by, "report": report}
            number = link.scalar(insert(customer_deletion).returning(customer_deletion.c.number), row)
        if self._engine.dialect.name == "sqlite":
            with self._engine.connect() as link:
                link.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")  # nor in the write-ahead log
        return int(number or 0)


def _dates(link: Connection) -> dict[str, date | None]:
    rows = link.execute(select(customer_date).order_by(customer_date.c.number)).mappings()
    return {row["customer"]: row["delete_on"] for row in rows}


def _keep_mesh(link: Connection, mesh: Mesh) -> None:
    if link.scalar(select(schema.mesh.c.sha256).where(schema.mesh.c.sha256 == mesh.sha256)) is None:
        row = {"sha256": mesh.sha256, "vertex_count": len(mesh.vertices), "face_count": len(mesh.faces),
               "vertices": pack(mesh.vertices), "faces": pack(mesh.faces)}  # fmt: skip
        link.execute(insert(schema.mesh), row)
