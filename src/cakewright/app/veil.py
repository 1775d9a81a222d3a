"""A plan as somebody sees it who may see some customers' lines only: the rest is not there at all."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from cakewright.model.build import Build
from cakewright.model.plan import WeekPlan


def veiled(plan: WeekPlan, customers: Collection[str]) -> WeekPlan:
    """The plan with the lines of these customers and nothing of anybody else's: no part, piece, date, price or doubt.

    Builds keep their hours and figures as a whole and lose every piece of others; builds without a line of these
    customers are left out. Such a plan is for looking, never for computing.
    """
    wanted = {name.casefold() for name in customers}
    lines = tuple(line for line in plan.orders.lines if line.customer.casefold() in wanted)
    numbers = {line.line for line in lines}
    part_of_line = {number: key for number, key in plan.part_of_line.items() if number in numbers}
    builds = tuple(_build(build, numbers) for build in plan.builds if numbers & set(build.lines))
    keys = {build.key for build in builds}
    tasks = tuple(
        replace(task, lines=tuple(n for n in task.lines if n in numbers), label="")
        for task in plan.schedule.tasks
        if task.build in keys or numbers & set(task.lines)
    )
    return replace(
        plan,
        orders=replace(plan.orders, lines=lines, findings=()),
        parts={key: plan.parts[key] for key in part_of_line.values() if key in plan.parts},
        part_of_line=part_of_line,
        builds=builds,
        schedule=replace(plan.schedule, tasks=tasks, notes=()),
        promises=tuple(p for p in plan.promises if p.line in numbers),
        costs=tuple(c for c in plan.costs if c.line in numbers),
        set_aside=tuple(s for s in plan.set_aside if s.line in numbers),
        findings=(),
    )


def _build(build: Build, numbers: set[int]) -> Build:
    placed = tuple(p for p in build.nest.placements if p.line in numbers)
    left = tuple(piece for piece in build.nest.left_out if piece.line in numbers)
    pieces = {p.piece for p in placed}
    out = build.removal
    check = build.verification
    return replace(
        build,
        lines=tuple(n for n in build.lines if n in numbers),
        nest=replace(build.nest, placements=placed, left_out=left, notes=()),
        verification=replace(check, tightest=None, violations=(), outside=()),
        removal=replace(out, order=tuple(p for p in out.order if p in pieces), stuck=(), hooked=()),
        reason="",
        line_reasons=tuple(r for r in build.line_reasons if r[0] in numbers),
        heat=None,
    )
