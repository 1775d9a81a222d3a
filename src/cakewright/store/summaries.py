"""The list of plans: each is counted once, since a plan never changes; only a deletion makes it be counted again."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import datetime
from threading import Lock

from sqlalchemy import Connection, and_, func, or_, select

from cakewright.store import schema
from cakewright.store.schema_customers import customer_deletion


@dataclass(frozen=True, slots=True)
class PlanSummary:
    """One line in the list of plans. `late` counts lines that miss their day, `set_aside` those without a plan."""

    version: int
    made_at: datetime
    made_by: str
    start: datetime
    cell: str
    order_source: str
    lines: int
    builds: int
    pieces: int
    late: int
    set_aside: int


class Summaries:
    """The plans of one database, as far as they were counted: the pieces of a year take long, new plans do not."""

    def __init__(self) -> None:
        self._known: dict[int, PlanSummary] = {}
        self._deletions = 0
        self._lock = Lock()

    def all(self, link: Connection) -> tuple[PlanSummary, ...]:
        """Every version, newest first."""
        versions = list(link.scalars(select(schema.plan.c.version).order_by(schema.plan.c.version.desc())))
        deletions = int(link.scalar(select(func.coalesce(func.max(customer_deletion.c.number), 0))) or 0)
        with self._lock:
            if deletions != self._deletions:
                self._known, self._deletions = {}, deletions
            missing = [version for version in versions if version not in self._known]
            if missing:
                self._known.update({found.version: found for found in _count(link, missing)})
            return tuple(self._known[version] for version in versions)


def _count(link: Connection, versions: Collection[int]) -> Iterator[PlanSummary]:
    plan = schema.plan.c
    late = and_(
        schema.promise.c.plan == plan.version,
        or_(schema.promise.c.ready.is_(None), schema.promise.c.ready > schema.promise.c.due_by),
    )
    tables = {
        "lines": schema.order_line,
        "builds": schema.build,
        "pieces": schema.placement,
        "set_aside": schema.set_aside,
    }
    counts = [
        select(func.count()).select_from(table).where(table.c.plan == plan.version).scalar_subquery().label(name)
        for name, table in tables.items()
    ]
    counts.append(select(func.count()).select_from(schema.promise).where(late).scalar_subquery().label("late"))
    query = (
        select(plan.version, plan.made_at, plan.made_by, plan.starts.label("start"), plan.order_source, *counts)
        .add_columns(schema.cell.c.name.label("cell"))
        .join(schema.cell, schema.cell.c.sha256 == plan.cell_sha256)
        .where(plan.version.in_(versions))
    )
    return (PlanSummary(**row) for row in link.execute(query).mappings())
