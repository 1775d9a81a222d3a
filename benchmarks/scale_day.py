"""Dates for one day of the simulated house: 100 builds and 1,000 lines on 100 machines, with the simulated weeks."""

from __future__ import annotations

import time
from dataclasses import replace

from scale_world import a_day

from cakewright.app.effort import effort_in_steps
from cakewright.app.plan_dates import plan_dates
from cakewright.stopping import MaxSteps

STEPS = 20  # schedules tried; the program itself tries for 10 s


def main() -> None:
    """Seconds and processor seconds for dispatch, a few steps of search, the check and the simulated weeks."""
    day = a_day()
    shift = replace(day.cell.people[0].shifts[0], weekdays=(0, 1, 2, 3, 4, 5, 6), breaks=())
    people = tuple(replace(p, skills=("start", "unpack", "finish", "inspect", "pack"), shifts=(shift,))
                   for p in day.cell.people)  # fmt: skip
    cell = replace(day.cell, people=people)
    effort = replace(effort_in_steps(1), dates=lambda: MaxSteps(STEPS), exact=lambda: MaxSteps(0))
    began, used = time.perf_counter(), time.process_time()
    schedule, promises, _ = plan_dates(day.builds, day.orders.lines, {}, cell, start=day.start, effort=effort, seed=1)
    print(f"dates of {len(day.builds)} builds and {len(promises)} lines: {time.perf_counter() - began:.1f} s, "
          f"processor {time.process_time() - used:.1f} s; {len(schedule.tasks)} tasks; {schedule.notes}")  # fmt: skip


if __name__ == "__main__":
    main()
