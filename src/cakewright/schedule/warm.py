"""Compile the scheduler's kernels once, so that the first plan on a machine does not wait for it."""

from __future__ import annotations

from cakewright.model.plan import Schedule
from cakewright.schedule.generator import made_cell
from cakewright.schedule.plan_schedule import plan_schedule
from cakewright.schedule.simulate import simulate
from cakewright.stopping import MaxSteps


def warm(builds: int = 3) -> Schedule:
    """Plan a small random cell and simulate its week once; the compiled code stays beside the source."""
    made = made_cell(builds, seed=0)
    schedule = plan_schedule(made.cell, made.builds, made.lines, start=made.start, stop=MaxSteps(1), seed=0)[0]
    simulate(made.cell, made.builds, made.lines, schedule, [], runs=1, seed=0)
    return schedule
