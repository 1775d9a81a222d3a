"""A small invented week that is really scheduled: two builds on one machine, two chambers, two people, six lines."""

from dataclasses import replace
from datetime import UTC, datetime

from cakewright.app.replan import jobs_of
from cakewright.model.plan import TaskKind, WeekPlan
from cakewright.schedule.plan_schedule import plan_schedule
from cakewright.stopping import MaxSteps
from tests.documents.world import week

MONDAY = datetime(2027, 3, 1, 6, 0, tzinfo=UTC)


def running_week() -> WeekPlan:
    """The week of the papers with people who may do everything, on the calendar of the scheduler."""
    plan = week()
    skills = ("start", "unpack", "finish", "inspect", "pack")
    people = tuple(replace(p, skills=skills) for p in plan.cell.people)
    plan = replace(plan, cell=replace(plan.cell, people=people))
    jobs, wishes, _ = jobs_of(plan)
    schedule, promises = plan_schedule(plan.cell, jobs, wishes, start=MONDAY, stop=MaxSteps(60), seed=1)
    return replace(plan, schedule=schedule, promises=promises)


def task(plan: WeekPlan, build: str, kind: TaskKind):
    """The task of a build."""
    return next(t for t in plan.schedule.of_build(build) if t.kind is kind)
