"""What every machine has printed, over all plans: what upkeep by hours, layers and kilograms counts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import Engine, select

from cakewright.model.plan import TaskKind
from cakewright.store import schema
from cakewright.store import schema_schedule as tables
from cakewright.store.engine import reading

_HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Printed:
    """One print that was begun. `hours` as they were when it ended, else as planned; `layers` up to a noted stop."""

    plan: int
    build: str
    machine: str
    started: datetime
    ended: datetime | None
    hours: float
    layers: int
    charge_kg: float


def printed_builds(engine: Engine) -> tuple[Printed, ...]:
    """Every print that was begun, oldest first; one that several plans hold (planned again) counts once."""
    build, need, done, stop = schema.build.c, schema.powder_need.c, tables.progress.c, tables.stop.c
    planned_s = build.warm_up_s + build.recoat_s + build.scan_s + build.waiting_s + build.end_s
    query = (
        select(done.plan, done.build, done.started, done.ended, build.machine, build.layers, need.charge_kg,
               planned_s.label("planned_s"), stop.layer.label("stopped"))
        .join(schema.build, (build.plan == done.plan) & (build.key == done.build))
        .join(schema.powder_need, (need.plan == done.plan) & (need.build == done.build), isouter=True)
        .join(tables.stop, (stop.plan == done.plan) & (stop.build == done.build), isouter=True)
        .where(done.kind == TaskKind.PRINT.value)
        .order_by(done.number)
    )  # fmt: skip
    last: dict[tuple[int, str], Printed | None] = {}
    with reading(engine) as link:
        for row in link.execute(query).mappings():
            key = (row["plan"], row["build"])
            known = last.get(key)
            started = row["started"] or (known.started if known and row["ended"] else None)
            if started is None:
                last[key] = None
                continue
            hours = (row["ended"] - started) / _HOUR if row["ended"] else row["planned_s"] / 3600.0
            layers = row["layers"] if row["stopped"] is None else min(row["layers"], row["stopped"])
            last[key] = Printed(*key, row["machine"], started, row["ended"], hours, layers, row["charge_kg"] or 0.0)
    once: dict[tuple[str, datetime], Printed] = {}
    for one in last.values():
        if one is not None:
            once[one.machine, one.started] = one
    return tuple(sorted(once.values(), key=lambda p: (p.started, p.machine)))
