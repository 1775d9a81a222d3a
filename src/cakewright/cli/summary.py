"""The planned week on one screen."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from rich.box import SIMPLE_HEAD
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from cakewright.cli.screen import console
from cakewright.findings import Severity
from cakewright.model.build import Build
from cakewright.model.plan import LinePromise, TaskKind, WeekPlan


def show_plan(plan: WeekPlan, folder: Path) -> None:
    """Print headline, builds, lines that need a person's attention, and where everything lies."""
    console.print()
    console.print(headline(plan), style="bold")
    console.print()
    console.print(builds_table(plan))
    if plan.late:
        console.print(late_table(plan))
    if plan.set_aside:
        console.print(aside_table(plan))
    _questions(plan)
    console.print("\nLook at  ", f"[bold]{folder / 'report.html'}[/bold]", soft_wrap=True)
    console.print("Open the web page:  ", end="")
    console.print(f"[bold]cakewright serve --db {folder.parent / 'cakewright.sqlite'}[/bold]", soft_wrap=True)


def headline(plan: WeekPlan) -> str:
    """One sentence about the week."""
    pieces = sum(b.pieces for b in plan.builds)
    lines = len(plan.promises)
    late = len(plan.late)
    cost = sum(c.total for c in plan.costs)
    word = "all on time" if not late else f"{late} of {lines} late"
    return (
        f"Plan {plan.version} for {plan.cell.name}: {lines} lines, {pieces} pieces, {len(plan.builds)} builds; "
        f"{word}; {cost:,.0f} {plan.cell.rates.currency}."
    )


def builds_table(plan: WeekPlan) -> Table:
    """One row a build: what, when, how much powder, proven how."""
    table = _table("Builds")
    for name, side in (
        ("build", "left"), ("pieces", "right"), ("height", "right"), ("prints", "left"), ("open from", "left"),
        ("virgin + used", "right"), ("closest", "right"),
    ):  # fmt: skip
        table.add_column(name, justify=side)  # type: ignore[arg-type]
    for build in plan.builds:
        table.add_row(*_build_row(plan, build))
    return table


def _table(title: str, style: str = "bold") -> Table:
    return Table(title=title, title_justify="left", title_style=style, pad_edge=False, box=SIMPLE_HEAD)


def _build_row(plan: WeekPlan, build: Build) -> list[str | Text]:
    tasks = plan.schedule.of_build(build.key)
    printing = next(t for t in tasks if t.kind is TaskKind.PRINT)
    cool = next(t for t in tasks if t.kind is TaskKind.COOL)
    gap = build.verification.tightest
    proof = Text(f"{gap.gap_mm:.1f} mm" if gap else "clear")
    if not build.removal.is_free:
        proof = Text(f"{sum(map(len, build.removal.stuck))} stuck", style="bold red")
    return [
        f"{build.key} on {printing.machine}",
        str(build.pieces),
        f"{build.nest.height_mm:.0f} mm",
        f"{day_time(printing.start, plan)} – {day_time(printing.end, plan)}",
        day_time(cool.end, plan),
        f"{build.powder.virgin_kg:.1f} + {build.powder.used_kg:.1f} kg",
        proof,
    ]


def late_table(plan: WeekPlan) -> Table:
    """Lines that miss their day, and why."""
    table = _table("Late", "bold red")
    for name in ("line", "part", "due", "ready", "why"):
        table.add_column(name)
    for promise in sorted(plan.late, key=lambda p: p.line):
        line = plan.line(promise.line)
        table.add_row(str(line.line), line.title, f"{line.due:%a %d %b}", ready(promise, plan), promise.reason)
    return table


def aside_table(plan: WeekPlan) -> Table:
    """Lines that could not be planned, and what would change that."""
    table = _table("Set aside", "bold red")
    for name in ("line", "part", "found", "what to do"):
        table.add_column(name)
    for aside in plan.set_aside:
        table.add_row(str(aside.line), plan.line(aside.line).title, aside.reason, aside.remedy)
    return table


def _questions(plan: WeekPlan) -> None:
    order = list(Severity)
    doubts = sorted(
        (f for f in plan.findings if f.severity is not Severity.NOTE), key=lambda f: -order.index(f.severity)
    )
    if not doubts:
        return
    console.print(f"\n{len(doubts)} doubts about parts (all in the report, section Findings). The first:")
    for finding in doubts[:3]:
        console.print(Padding(Text(f"{finding.severity.value}: {finding.text}"), (0, 0, 0, 2)))


def ready(promise: LinePromise, plan: WeekPlan) -> str:
    """When a line is ready, in cell time."""
    return day_time(promise.ready, plan) if promise.ready else "not in this plan"


def day_time(instant: datetime, plan: WeekPlan) -> str:
    """'Tue 07:10' in the time of the cell."""
    return f"{instant.astimezone(plan.cell.zone):%a %H:%M}"
