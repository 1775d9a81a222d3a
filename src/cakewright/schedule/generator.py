"""Random cells of a fixed kind, to measure solvers against each other.

Four machines (two small, two large) that may each run two or three powders and lose a day when they change, three
chambers of each size, two people from seven to seven on weekdays, one recovery station, one blasting cabinet, one dye
pot. Every figure is assumed for the sake of the test; none describes a real cell.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta

import numpy as np

from cakewright.model.cell import (
    Cell,
    Chamber,
    ChamberType,
    FailureHistory,
    Finish,
    FinishStep,
    Machine,
    Material,
    NestingRules,
    Person,
    QualityClass,
    Rates,
    Shift,
    Station,
)
from cakewright.schedule.jobs import BuildJob, LineJob

MONDAY = datetime(2027, 3, 1, tzinfo=UTC)
SLOT_MIN = 10  # every duration is a multiple of it
CHANGEOVER_MIN = 24 * 60
POWDERS = ("P1", "P2", "P3")
SKILLS = ("start", "unpack", "finish", "inspect", "pack")
WEIGHTS = (1.0, 2.0, 5.0)
DUE_LEAST_DAYS = 2.0  # from now, besides printing and cooling
BUILDS_PER_WEEK = 14  # sets how tight the due dates are


@dataclass(frozen=True, slots=True)
class Made:
    """A random cell and its work; planning starts on a Monday at midnight UTC."""

    cell: Cell
    builds: tuple[BuildJob, ...]
    lines: tuple[LineJob, ...]
    start: datetime = MONDAY


def made_cell(builds: int, seed: int) -> Made:
    """A cell with so many builds, one line in each; the same seed gives the same cell."""
    rng = np.random.default_rng(seed)
    cell = _cell()
    jobs, lines = [], []
    for i in range(builds):
        size = "small" if rng.random() < 0.5 else "large"
        powder = POWDERS[int(rng.integers(len(POWDERS)))]
        can = [m.name for m in cell.machines if m.chamber_type == size and m.takes(powder)]
        jobs.append(_build(f"B{i + 1}", size, powder, can, rng))
        lines.append(_line(i + 1, builds, jobs[-1], rng))
    return Made(cell, tuple(jobs), tuple(lines))


def _slots(rng: np.random.Generator, low_min: float, high_min: float) -> int:
    """Minutes between two limits, in whole slots."""
    return SLOT_MIN * round(float(rng.uniform(low_min, high_min)) / SLOT_MIN)


def _build(key: str, size: str, powder: str, can: list[str], rng: np.random.Generator) -> BuildJob:
    printing = _slots(rng, 6 * 60, 40 * 60)
    cooling = SLOT_MIN * round(printing * float(rng.uniform(0.8, 1.3)) / SLOT_MIN)
    return BuildJob(
        key=key,
        material=powder,
        chamber_type=size,
        print_min=dict.fromkeys(can, printing),
        cool_min=cooling,
        minimum_cool_in_machine_min=120,
        load_min=30,
        unload_min=20,
        unpack_min=_slots(rng, 60, 120),
        clean_min=30,
        release=MONDAY,
    )


def _line(number: int, builds: int, job: BuildJob, rng: np.random.Generator) -> LineJob:
    blast = _slots(rng, 30, 90)
    steps = [FinishStep("blast", blast, blast)]
    if rng.random() < 0.5:
        steps.append(FinishStep("dye", 240, 20))
    alone = (max(job.print_min.values()) + job.cool_min) / (24 * 60)
    days = alone + DUE_LEAST_DAYS + float(rng.uniform(0, 7.0 * builds / BUILDS_PER_WEEK))
    return LineJob(
        line=number,
        builds=(f"B{number}",),
        finish=Finish(f"finish {number}", tuple(steps)),  # one for each build: no basket and no bath is shared
        pieces=1,
        inspect_min=_slots(rng, 20, 60),
        pack_min=10,
        due_by=MONDAY + timedelta(minutes=SLOT_MIN * round(days * 24 * 60 / SLOT_MIN)),
        weight=WEIGHTS[int(rng.integers(len(WEIGHTS)))],
    )


def _cell() -> Cell:
    shift = Shift((0, 1, 2, 3, 4), time(7), time(19))
    types = tuple(ChamberType(name, 200, 200, 300, 5, 5, 5, 5, 30) for name in ("small", "large"))
    takes = {"A1": ("P1", "P2"), "A2": ("P2", "P3", "P1"), "B1": ("P1", "P3"), "B2": ("P2", "P3", "P1")}
    return Cell(
        name="random cell",
        timezone="UTC",
        room_c=22,
        materials=tuple(Material(p, 0.95, 0.45, 170, 50, 0.1, 2500, 60, 1e4, 1e4, 0.04, 0.8) for p in POWDERS),
        chamber_types=types,
        chambers=tuple(Chamber(f"{t.name} {i + 1}", t.name, POWDERS[0], POWDERS[1:]) for t in types for i in range(3)),
        machines=tuple(_machine(name, powders) for name, powders in takes.items()),
        stations=(Station("recovery", "unpack"), Station("cabinet", "blast"), Station("pot", "dye")),
        people=tuple(Person(name, SKILLS, (shift,)) for name in ("Ada", "Bo")),
        finishes=(Finish("as printed", ()),),
        classes=(QualityClass("standard", 0.4, 1, 10),),
        rates=Rates("cu", 48, 10, 30, 5, 2, 5),
        nesting=NestingRules(4, 2, 10),
        failures=FailureHistory(3, 60),
    )


def _machine(name: str, powders: tuple[str, ...]) -> Machine:
    size = "small" if name.startswith("A") else "large"
    return Machine(
        name, powders[0], size, 0.1, 60, 10, 0, 0.2, 5000, 2000, 0.01, 10, 30, 20, 120, 9, 0.1, 1,
        other_materials=powders[1:], changeover_min=CHANGEOVER_MIN,
    )  # fmt: skip
