"""The main job on files that nobody here made: published mechanical parts, drawn into an order list."""

from __future__ import annotations

import csv
from datetime import date, datetime, timedelta
from pathlib import Path

from cakewright import plan_week, read_cell, read_orders, write_plan
from cakewright.app.effort import effort_in_steps
from cakewright.app.init_cell import init_cell

MONDAY = date(2027, 3, 1)


def order_real_parts(real: Path, book: Path, cell) -> int:
    """Every fourth file becomes a line with 1 to 3 pieces, due over two weeks; returns the number of lines."""
    with (real / "MANIFEST.csv").open(newline="", encoding="utf-8") as f:
        files = [row["file"] for row in csv.DictReader(f)][::4]
    with book.open("w", newline="", encoding="utf-8") as f:
        out = csv.writer(f)
        out.writerow(["line", "order", "received", "customer", "part", "rev", "qty", "material", "finish", "class",
                      "due", "file"])  # fmt: skip
        for n, name in enumerate(files, start=1):
            due = MONDAY + timedelta(days=7 + n % 8)
            out.writerow([n, f"R-{n}", MONDAY, "Visitor", Path(name).stem, "A", 1 + n % 3, cell.materials[0].name,
                          cell.finishes[n % len(cell.finishes)].name, cell.classes[0].name, due, name])  # fmt: skip
    return len(files)


def test_a_week_of_published_parts(shared, tmp_path):
    """Readable parts are nested, proven, dated and priced; the others are named with a remedy."""
    real = shared / "meshes" / "real"
    cell = read_cell(init_cell(tmp_path / "cell.toml"))
    count = order_real_parts(real, tmp_path / "orders.csv", cell)
    orders = read_orders(tmp_path / "orders.csv", cell)
    plan = plan_week(orders, cell, real, start=datetime(2027, 3, 1, 8), effort=effort_in_steps(5))
    assert len(plan.promises) + len(plan.set_aside) == count
    assert len(plan.promises) >= 0.7 * count
    assert all(aside.reason and aside.remedy for aside in plan.set_aside)
    assert all(build.verification.is_clear for build in plan.builds)
    placed = {p.piece for b in plan.builds for p in b.nest.placements}
    assert len(placed) == sum(plan.line(p.line).quantity for p in plan.promises)
    _, folder = write_plan(plan, tmp_path / "out")
    assert (folder / "report.html").exists()
