"""The numbers of a week as tables for a spreadsheet: CSV and XLSX. An empty cell was not recorded."""

from __future__ import annotations

import csv
import io

from cakewright.app.numbers import WeekNumbers
from cakewright.documents.workbook import workbook_xlsx
from cakewright.errors import InputError

CAUSES = ("volume", "mix", "yield", "usage", "price")
Table = tuple[tuple[str, ...], list[tuple[object, ...]]]


def tables_of(numbers: WeekNumbers) -> dict[str, Table]:
    """The numbers as tables: heading and rows. An empty cell was not recorded."""
    return {
        "lines": _lines_table(numbers),
        "builds": _builds_table(numbers),
        "variances": _variances_table(numbers),
        "machine hours": (("reason", "planned_h", "recorded_h"), [tuple(row) for row in numbers.hours.rows]),
        "families": (
            ("family", "lines", "price", "cost", "margin", "losing_lines"),
            [(f.family, f.lines, f.price, f.cost, f.margin, f.losing_lines) for f in numbers.families],
        ),
        "waste": (
            ("material", "shipped_kg", "waste_kg", "waste_per_kg"),
            [(w.material, w.shipped_kg, w.waste_kg, w.per_kg) for w in numbers.waste],
        ),
    }


def numbers_xlsx(numbers: WeekNumbers) -> bytes:
    """Every table as a sheet of one workbook."""
    return workbook_xlsx(tables_of(numbers))


def numbers_csv(numbers: WeekNumbers, name: str = "lines") -> str:
    """One table as CSV; text that a spreadsheet would run as a formula gets an apostrophe in front."""
    tables = tables_of(numbers)
    if name not in tables:
        raise InputError(f"there is no table {name[:40]!r}", remedy=f"one of: {', '.join(tables)}", where="table")
    columns, rows = tables[name]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows([["" if v is None else _plain(v) for v in row] for row in rows])
    return out.getvalue()


def _plain(value: object) -> object:
    text = str(value)
    return f"'{text}" if isinstance(value, str) and text.startswith(("=", "+", "-", "@", "\t", "\r")) else value


def _lines_table(numbers: WeekNumbers) -> Table:
    columns = ["line", "order", "part", "pieces", "planned_cost", "actual_cost", "cost_all_recorded", "price"]
    for name in ("machine_h", "virgin_kg", "hands_min", "scrap"):
        columns += [f"{name}_planned", f"{name}_plan_of_recorded", f"{name}_actual", f"{name}_recorded", f"{name}_of"]
    money = {p.line: p for p in numbers.priced}
    rows: list[tuple[object, ...]] = []
    for r in numbers.lines:
        line, p = numbers.plan.line(r.line), money.get(r.line)
        row: list[object] = [r.line, line.order, line.part, r.pieces]
        row += [p.planned, p.actual if p.is_recorded else None, p.is_whole, p.price] if p else [None] * 4
        for c in (r.machine_h, r.virgin_kg, r.hands_min, r.scrap):
            row += [c.planned, c.counterpart, c.actual, c.recorded, c.of]
        rows.append(tuple(row))
    return tuple(columns), rows


def _builds_table(numbers: WeekNumbers) -> Table:
    columns = ("build", "pieces", "parts_kg", "cost", "print_h_planned", "print_h_actual", "virgin_kg_planned",
               "virgin_kg_actual", "stopped", "kwh_computed", "kwh_by_recorded_hours", "gas_m3",
               "power_measured")  # fmt: skip
    rows: list[tuple[object, ...]] = [
        (b.record.build, b.pieces, b.parts_kg, b.cost, b.record.planned_h, b.record.actual_h, b.record.planned_kg,
         b.record.actual_kg, b.record.is_stopped, b.kwh, b.actual_kwh, b.gas_m3, b.is_measured)
        for b in numbers.builds
    ]  # fmt: skip
    return columns, rows


def _variances_table(numbers: WeekNumbers) -> Table:
    columns = ("resource", "lines_recorded", "lines_left_out", "planned", "actual", *CAUSES, "total")
    rows: list[tuple[object, ...]] = []
    for v in numbers.variances:
        s = v.split
        causes = (s.volume, s.mix, s.yield_loss, s.usage, s.price, s.total) if s else (None,) * 6
        rows.append((v.resource, len(v.lines), len(v.left_out), v.planned if s else None, v.actual if s else None,
                     *causes))  # fmt: skip
    return columns, rows
