"""CSV files of a plan: placements, schedule, powder, quotes. Columns are described in docs/reference/output-files.md.

Text that a spreadsheet would run as a formula is written with an apostrophe in front. Numbers are plain,
with a point; times are ISO 8601, UTC, and once more in the cell's local time.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import datetime

import numpy as np

from cakewright.documents.words import trays
from cakewright.model.build import Build, Placement
from cakewright.model.order import OrderLine
from cakewright.model.plan import LineCost, LinePromise, WeekPlan

_RUNS = ("=", "+", "-", "@", "\t", "\r")

PLACEMENTS = (
    "build", "piece", "line", "part", "rev", "tray",
    "box_x_min_mm", "box_y_min_mm", "box_z_min_mm", "box_x_max_mm", "box_y_max_mm", "box_z_max_mm",
    "r11", "r12", "r13", "r21", "r22", "r23", "r31", "r32", "r33", "tx_mm", "ty_mm", "tz_mm",
    "z_min_mm", "z_max_mm", "removal_position", "leave_after", "stuck_with", "file", "sha256",
)  # fmt: skip
SCHEDULE = (
    "build", "task", "label", "lines", "start_utc", "end_utc", "start_local", "end_local", "minutes",
    "machine", "chamber", "station", "people",
)  # fmt: skip
POWDER = (
    "build", "material", "machine", "charge_kg", "virgin_kg", "used_kg", "refresh_ratio", "refresh_reason",
    "break_even_ratio", "in_parts_kg", "loss_kg", "back_kg", "surplus_kg",
)  # fmt: skip
QUOTES = (
    "line", "order", "customer", "part", "rev", "quantity", "material", "finish", "class", "builds", "state",
    "due", "ready_utc", "ready_local", "p50_utc", "p90_utc", "on_time_probability", "reason",
    "machine", "powder_in_parts", "refresh_burden", "hands", "finish_cost", "risk", "total", "per_piece", "currency",
    "if_fails_utc", "start_pieces",
)  # fmt: skip


def text(value: object) -> str:
    """A cell that no spreadsheet runs: text that starts like a formula gets an apostrophe, numbers stay."""
    if isinstance(value, bool | int | float | np.floating | np.integer):
        return str(value)
    cell = "" if value is None else str(value)
    return f"'{cell}" if cell.startswith(_RUNS) else cell


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A table as CSV (RFC 4180), its head first; no cell of it is run by a spreadsheet."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")  # RFC 4180
    writer.writerow(columns)
    for row in rows:
        writer.writerow([text(cell) for cell in row])
    return out.getvalue()


def _round(value: float, digits: int = 4) -> float:
    return round(float(value), digits) + 0.0  # + 0.0 turns -0.0 into 0.0


def _utc(when: datetime | None) -> str:
    return "" if when is None else when.isoformat(timespec="minutes")


def _local(plan: WeekPlan, when: datetime | None) -> str:
    return "" if when is None else when.astimezone(plan.cell.zone).isoformat(timespec="minutes")


def placements_csv(plan: WeekPlan) -> str:
    """One row for each placed piece, builds in order, pieces in the order of removal (stuck ones last)."""
    return csv_text(PLACEMENTS, (row for build in plan.builds for row in _placement_rows(plan, build)))


def _placement_rows(plan: WeekPlan, build: Build) -> list[list[object]]:
    position = {piece: i + 1 for i, piece in enumerate(build.removal.order)}
    pieces = sorted(build.nest.placements, key=lambda p: (position.get(p.piece, len(position) + 1), p.piece))
    letters, after = trays(build), dict(build.removal.hooked)
    stuck = {piece: group for group in build.removal.stuck for piece in group}
    return [
        [
            *_who(plan, build, p, letters[p.line]),
            *_where(plan, p),
            position.get(p.piece, ""),
            " ".join(after.get(p.piece, ())),
            " ".join(other for other in stuck.get(p.piece, ()) if other != p.piece),
            plan.parts[p.part_key].origin.file,
            plan.parts[p.part_key].origin.sha256,
        ]
        for p in pieces
    ]


def _who(plan: WeekPlan, build: Build, p: Placement, letter: str) -> list[object]:
    line = plan.line(p.line)
    return [build.key, p.piece, p.line, line.part, line.revision, letter]


def _where(plan: WeekPlan, p: Placement) -> list[float]:
    turn = [_round(v, 9) for v in np.asarray(p.rotation).reshape(-1)]
    return [*_box(plan, p), *turn, *(_round(v) for v in p.translation), _round(p.z_min_mm), _round(p.z_max_mm)]


def _box(plan: WeekPlan, p: Placement) -> list[float]:
    vertices = plan.parts[p.part_key].mesh.vertices @ np.asarray(p.rotation).T + p.translation
    return [_round(v) for v in (*vertices.min(axis=0), *vertices.max(axis=0))]


def schedule_csv(plan: WeekPlan) -> str:
    """One row for each task, in time order."""
    tasks = sorted(plan.schedule.tasks, key=lambda t: (t.start, t.end, t.build))
    return csv_text(
        SCHEDULE,
        (
            [
                t.build, t.kind.value, t.label, " ".join(str(n) for n in t.lines), _utc(t.start), _utc(t.end),
                _local(plan, t.start), _local(plan, t.end), round((t.end - t.start).total_seconds() / 60),
                t.machine, t.chamber, t.station, "; ".join(t.people),
            ]
            for t in tasks
        ),
    )  # fmt: skip


def powder_csv(plan: WeekPlan) -> str:
    """One row for each build: what to weigh, and what comes back."""
    return csv_text(
        POWDER,
        (
            [
                b.key, b.material, b.machine, _round(b.powder.charge_kg), _round(b.powder.virgin_kg),
                _round(b.powder.used_kg), _round(b.powder.refresh_ratio), b.powder.refresh_reason,
                _round(b.powder.break_even_ratio), _round(b.powder.in_parts_kg), _round(b.powder.loss_kg),
                _round(b.powder.back_kg), _round(b.powder.surplus_kg),
            ]
            for b in plan.builds
        ),
    )  # fmt: skip


def line_state(plan: WeekPlan, number: int) -> str:
    """'on time', 'late', 'set aside' or 'not planned': the state of an order line in one word or two."""
    if any(s.line == number for s in plan.set_aside):
        return "set aside"
    promise = next((p for p in plan.promises if p.line == number), None)
    if promise is None:
        return "not planned"
    return "late" if promise.is_late else "on time"


def quotes_csv(plan: WeekPlan) -> str:
    """One row for each order line, set-aside lines included with empty prices."""
    promises = {p.line: p for p in plan.promises}
    costs = {c.line: c for c in plan.costs}
    return csv_text(QUOTES, (_quote(plan, ln, promises.get(ln.line), costs.get(ln.line)) for ln in plan.orders.lines))


def _quote(plan: WeekPlan, line: OrderLine, promise: LinePromise | None, cost: LineCost | None) -> list[object]:
    aside = next((s.reason for s in plan.set_aside if s.line == line.line), "")
    ready, p50, p90 = (promise.ready, promise.p50, promise.p90) if promise else (None, None, None)
    head: list[object] = [
        line.line, line.order, line.customer, line.part, line.revision, line.quantity, line.material, line.finish,
        line.quality_class, " ".join(b.key for b in plan.builds_of(line.line)), line_state(plan, line.line),
        line.due.isoformat(), _utc(ready), _local(plan, ready), _utc(p50), _utc(p90),
        "" if promise is None or promise.on_time_probability is None else _round(promise.on_time_probability),
        aside or (promise.reason if promise else ""),
    ]  # fmt: skip
    tail = [_utc(promise.if_fails), promise.start_pieces or ""] if promise else ["", ""]
    if cost is None:
        return [*head, *[""] * 8, plan.cell.rates.currency, *tail]
    money = (
        cost.machine, cost.powder_in_parts, cost.refresh_burden, cost.hands, cost.finish, cost.risk, cost.total,
        cost.total / line.quantity,
    )  # fmt: skip
    return [*head, *(_round(m, 2) for m in money), plan.cell.rates.currency, *tail]
