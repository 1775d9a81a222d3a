"""A generated store: weeks of ten builds with a hundred pieces each, what was said about them, and their powder."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from tests.app.running import running_week
from tests.documents import world
from tests.store.conftest import heat

from cakewright.demo.powder import write_demo_powder
from cakewright.documents.traveller import CHECKS
from cakewright.model.build import Build, Placement
from cakewright.model.floor import FloorKind, FloorRecord
from cakewright.model.plan import LineCost, LinePromise, TaskKind, WeekPlan
from cakewright.store import Store, open_store

MONDAY = datetime(2027, 3, 1, 6, tzinfo=UTC)
BUILDS, LINES_EACH, PIECES_EACH = 10, 4, 25  # of a week; lines of a build; pieces of a line
SHAPES = ("plate", "knob", "ring", "clip")
MEASURED = 20  # pieces of a week whose width was measured


def generated_week(weeks_ago: int) -> WeekPlan:
    """One invented week: not scheduled by the search, but every page finds what it shows."""
    base = running_week()
    start = MONDAY - timedelta(weeks=weeks_ago)
    lines = tuple(
        replace(base.orders.lines[n % 2], line=n, order=f"O-{weeks_ago}-{n // 4}", part=f"part {n % 60}", revision="A",
                customer=f"customer {(weeks_ago * 7 + n // 4) % 40}", quantity=PIECES_EACH,
                file=f"{SHAPES[n % 4]}.stl", received=start.date(), due=(start + timedelta(days=4)).date())
        for n in range(1, BUILDS * LINES_EACH + 1)
    )  # fmt: skip
    part_of_line = {line.line: SHAPES[line.line % 4] for line in lines}
    builds = tuple(_build(base.builds[0], n, part_of_line) for n in range(1, BUILDS + 1))
    first = [t for t in base.schedule.tasks if t.build == "B1" and t.kind is not TaskKind.FINISH]
    tasks = tuple(
        replace(task, build=build.key, lines=build.lines, start=task.start - (MONDAY - start) + timedelta(hours=12 * n),
                end=task.end - (MONDAY - start) + timedelta(hours=12 * n))
        for n, build in enumerate(builds) for task in first
    )  # fmt: skip
    ready = start + timedelta(days=3)
    promises = tuple(
        LinePromise(
            line.line, ready, start + timedelta(days=4), ready, ready + timedelta(hours=9), 0.9, "waits to cool"
        )
        for line in lines
    )
    costs = tuple(LineCost(line.line, 20.5, 3.1, 2.2, 14.0, 4.0, 1.1) for line in lines)
    return replace(
        base, orders=replace(base.orders, lines=lines), start=start, part_of_line=part_of_line, builds=builds,
        schedule=replace(base.schedule, start=start, tasks=tasks), promises=promises, costs=costs, set_aside=(),
        findings=(), parts={k: base.parts[k] for k in SHAPES},
    )  # fmt: skip


def _build(like: Build, number: int, part_of_line: dict[int, str]) -> Build:
    lines = tuple(range((number - 1) * LINES_EACH + 1, number * LINES_EACH + 1))
    placed = tuple(_place(n, line, part_of_line[line]) for n, line in enumerate(np.repeat(lines, PIECES_EACH)))
    order = tuple(p.piece for p in sorted(placed, key=lambda p: -p.z_max_mm))
    made = replace(
        like, key=f"B{number}", lines=lines, line_reasons=tuple((line, "due first") for line in lines),
        nest=replace(like.nest, placements=placed, left_out=()),
        verification=replace(like.verification, tightest=None, violations=(), outside=()),
        removal=replace(like.removal, order=order, stuck=(), hooked=()),
    )  # fmt: skip
    return replace(made, heat=heat(made))


def _place(number: int, line: int, shape: str) -> Placement:
    at = np.array([10.0 + 33 * (number % 5), 10.0 + 40 * (number // 5 % 5), 5.0 + 30 * (number // 25)])
    return Placement(f"L{line:02d}-{number % PIECES_EACH + 1:02d}", shape, int(line), np.eye(3), at, at[2], at[2] + 22)


def fill(path: Path, weeks: int) -> None:
    """Write `weeks` plans with all that was said about their builds into a new database at `path`."""
    with open_store(path) as store:
        write_demo_powder(store, world.cell(), MONDAY - timedelta(weeks=weeks))
        for ago in range(weeks - 1, -1, -1):
            plan = generated_week(ago)
            version = store.save_plan(plan, made_by="Mira", at=plan.start)
            if ago:
                _say(store, plan, version)
    with sqlite3.connect(path) as raw:  # half of all pieces were found by somebody: too many to say one by one
        columns = [row[1] for row in raw.execute("pragma table_info(piece_record)")]
        rest = {"by": "'Jon'", "at": "'2027-02-01 08:00:00.000000'", "state": "'found'", "note": "''"}
        names = [c for c in columns if c in ("plan", "build", "piece") or c in rest]
        raw.execute(
            f"insert into piece_record ({', '.join(names)}) select {', '.join(rest.get(c, c) for c in names)} "
            f"from placement where plan < {weeks} and position % 2 = 0"
        )


def _say(store: Store, plan: WeekPlan, version: int) -> None:
    """The checks before each print and some values measured, in one go."""
    at = plan.start
    said = [
        FloorRecord(f"check-{version}-{build.key}-{n}", version, FloorKind.CHECK, "Jon", at, build.key,
                    data={"check": f"c{n:02d}", "text": text, "found": "a nick" if n == 4 else ""})
        for build in plan.builds for n, text in enumerate(CHECKS, 1)
    ]  # fmt: skip
    rng = np.random.default_rng(version)
    pieces = [p for build in plan.builds for p in build.nest.placements][:MEASURED]
    said += [
        FloorRecord(f"value-{version}-{n}", version, FloorKind.MEASURED, "Ada", at, "", p.line, p.piece,
                    data={"name": "width", "value": float(rng.normal(20, 0.05)), "low": 19.8, "high": 20.2})
        for n, p in enumerate(pieces)
    ]  # fmt: skip
    store.floor.add(said, kept_at=at)
