"""The invented house of `scale.py`: 100 machines, 1,000 order lines a day, and a history of days in the store.

The first day is a whole plan, saved as the program saves plans. Every further day is that day copied inside the
database under its own version, order numbers and powder lots: as many rows, as wide, in the same tables and indexes.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from sqlalchemy import Connection, bindparam, text
from tests.documents.world import START, week
from tests.store.conftest import heat

from cakewright.model.build import Removal
from cakewright.model.plan import LineCost, LinePromise, Task, TaskKind, WeekPlan
from cakewright.store import Store, schema, schema_powder
from cakewright.store.engine import writing

MACHINES, LINES, PIECES_PER_LINE = 100, 1000, 25
NOT_COPIED = {"plan", "commitment", "progress", "stop", "floor_record", "piece_record", "job", "job_log", "photo",
              "probe_reading", "powder_container", "powder_share", "powder_order"}  # fmt: skip


def a_day(machines: int = MACHINES, lines: int = LINES, pieces: int = PIECES_PER_LINE) -> WeekPlan:
    """One day: `lines` lines of `pieces` pieces, shared out evenly over one build on each machine."""
    base = week()
    cell = replace(
        base.cell,
        machines=tuple(replace(base.cell.machines[0], name=f"M{n:03d}") for n in range(machines)),
        chambers=tuple(replace(base.cell.chambers[0], name=f"K{n:03d}") for n in range(2 * machines)),
        people=tuple(replace(base.cell.people[n % len(base.cell.people)], name=f"P{n:03d}") for n in range(machines)),
    )
    pattern = base.orders.lines[0]
    orders = tuple(
        replace(pattern, line=n, order=f"A{(n + 1) // 2:05d}", customer=f"Customer {n % 200:03d}", quantity=pieces)
        for n in range(1, lines + 1)
    )
    key = base.part_of_line[pattern.line]
    each = lines // machines
    builds, tasks, promises, costs = [], [], [], []
    for m in range(machines):
        mine = tuple(range(m * each + 1, (m + 1) * each + 1))
        builds.append(_build(base.builds[0], f"B{m + 1}", f"M{m:03d}", mine, pieces, key))
        tasks += _tasks(f"B{m + 1}", f"M{m:03d}", f"K{m:03d}", f"P{m:03d}", mine)
    for n in range(1, lines + 1):
        due = START + timedelta(days=3 + n % 9)
        ready = START + timedelta(hours=40 + n % 60)
        promises.append(
            LinePromise(n, ready, due, ready, ready + timedelta(hours=8), 0.9, "waits for its chamber to cool")
        )
        costs.append(LineCost(n, 20.5, 3.1, 2.2, 14.0, 4.0, 1.1))
    return replace(
        base, cell=cell, orders=replace(base.orders, lines=orders),
        part_of_line=dict.fromkeys(range(1, lines + 1), key),
        builds=tuple(builds), schedule=replace(base.schedule, tasks=tuple(tasks)), promises=tuple(promises),
        costs=tuple(costs), set_aside=(), findings=(),
    )  # fmt: skip


def _build(pattern: Any, key: str, machine: str, lines: tuple[int, ...], pieces: int, part: str) -> Any:
    one = replace(pattern.nest.placements[0], part_key=part)
    placed = []
    for n, line in enumerate(lines):
        for i in range(pieces):
            at = np.array([10.0 + 12 * (i % 12), 10.0 + 15 * (n % 14), 5.0 + 9 * (i // 12 + n // 14)])
            placed.append(replace(one, piece=f"L{line:04d}-{i + 1:02d}", line=line, translation=at,
                                  z_min_mm=float(at[2]), z_max_mm=float(at[2] + 8)))  # fmt: skip
    nest = replace(pattern.nest, placements=tuple(placed))
    order = tuple(p.piece for p in sorted(placed, key=lambda p: -p.z_max_mm))
    check = replace(pattern.verification, tightest=None, violations=(), pairs_checked=20 * len(placed))
    built = replace(pattern, key=key, machine=machine, lines=lines, nest=nest, removal=Removal(order, (), ()),
                    verification=check, line_reasons=())  # fmt: skip
    return replace(built, heat=replace(heat(built), findings=()))


def _tasks(build: str, machine: str, chamber: str, person: str, lines: tuple[int, ...]) -> Iterator[Task]:
    rows = [(TaskKind.LOAD, 1, 1.5, machine, (person,)), (TaskKind.PRINT, 1.5, 14, machine, ()),
            (TaskKind.COOL, 14, 30, "", ()), (TaskKind.UNPACK, 30, 32, "", (person,)),
            (TaskKind.CLEAN, 32, 33, "", (person,))]  # fmt: skip
    for kind, begins, ends, where, who in rows:
        at = [START + timedelta(hours=h) for h in (begins, ends)]
        yield Task(kind, build, lines, at[0], at[1], where, chamber, "", who)
    for n, line in enumerate(lines):
        for kind, hours in ((TaskKind.INSPECT, 34.0), (TaskKind.PACK, 38.0)):
            begins_at = START + timedelta(hours=hours + n * 0.3)
            yield Task(kind, build, (line,), begins_at, begins_at + timedelta(minutes=15), "", "", "", (person,))


@contextmanager
def _quickly(store: Store) -> Iterator[Connection]:
    """Without looking up every reference: the rows are copies of a day that was checked."""
    with writing(store._engine) as link:
        if store.is_on_server:
            link.execute(text("SET LOCAL session_replication_role = replica"))
        yield link


def fill(store: Store, days: int, *, at: datetime = datetime(2027, 1, 1, tzinfo=UTC)) -> None:
    """Save one day and copy it until there are `days` of them, with what each build's powder was made of."""
    first = store.save_plan(a_day(), made_by="scale", at=at)
    assert first == 1, "the history begins in an empty store"
    with _quickly(store) as link:
        _powder(link)
    for begin in range(2, days + 1, 20):
        end = min(begin + 19, days)
        with _quickly(store) as link:
            counted = f"SELECT {begin} UNION ALL SELECT n + 1 FROM d WHERE n < {end}"
            numbers = f"(WITH RECURSIVE d(n) AS ({counted}) SELECT n FROM d) d"
            for table in schema.metadata.sorted_tables:
                if table.name == "plan" or (table.name not in NOT_COPIED and "plan" in table.c):
                    _copy(link, table, numbers)
            _copy(link, schema_powder.share, numbers)
            _copy(link, schema_powder.order, numbers)
        print(f"  {end} of {days} days, {end * LINES * PIECES_PER_LINE:,} pieces", flush=True)
    if store.is_on_server:  # the sequence of the versions did not see the copies
        with writing(store._engine) as link:
            link.execute(text("SELECT setval(pg_get_serial_sequence('plan', 'version'), :last)"), {"last": days})
    with writing(store._engine) as link:
        link.execute(text("ANALYZE"))


CHANGED = {
    ("order_line", "order_number"): "order_number || '-' || d.n",
    ("powder_order", "order_number"): "order_number || '-' || d.n",
    ("powder_share", "origin"): "'V' || (CAST(substr(origin, 2) AS integer) + d.n / 5)",  # a lot lasts about a week
}


def _copy(link: Connection, table: Any, numbers: str) -> None:
    key = "version" if table.name == "plan" else "plan"
    names = [c.name for c in table.columns]
    quoted = ", ".join(f'"{n}"' for n in names)
    values = ", ".join("d.n" if n == key else CHANGED.get((table.name, n), f't."{n}"') for n in names)
    link.execute(text(f'INSERT INTO "{table.name}" ({quoted}) SELECT {values} FROM {numbers} '
                      f'CROSS JOIN "{table.name}" t WHERE t."{key}" = 1'))  # fmt: skip


def _powder(link: Connection) -> None:
    """Three lots in every build, and for whom its pieces are."""
    for m in range(MACHINES):
        for lot, share in ((0, 0.55), (1, 0.3), (2 + m % 3, 0.15)):
            row = {"origin": f"V{lot}", "plan": 1, "build": f"B{m + 1}", "share": share}
            link.execute(schema_powder.share.insert(), row)
    link.execute(
        text(
            "INSERT INTO powder_order SELECT p.plan, p.build, l.order_number, l.customer, count(*) FROM placement p "
            "JOIN order_line l ON l.plan = p.plan AND l.line = p.line WHERE p.plan = :one GROUP BY 1, 2, 3, 4"
        ).bindparams(bindparam("one", 1))
    )
