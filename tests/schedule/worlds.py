"""Tiny cells and jobs for the schedule tests. Monday 2027-03-01, UTC unless a test says otherwise."""

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

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

MONDAY = datetime(2027, 3, 1, 8, 0, tzinfo=UTC)
DAY_SHIFT = Shift((0, 1, 2, 3, 4), time(8), time(16), ((time(12), time(12, 30)),))
ALL_SKILLS = ("start", "unpack", "finish", "inspect", "pack")
PLAIN = Finish("as printed", ())
BLASTED = Finish("blasted", (FinishStep("blast", 10, 10, per_piece_s=30),))
DYED = Finish(
    "dyed black",
    (FinishStep("blast", 10, 10, per_piece_s=30), FinishStep("dye", 240, 20, wait_min=120, weekdays=(2,))),
)


def material(name="PA12"):
    return Material(name, 0.95, 0.45, 170, 50, 0.1, 2500, 60, 100, 100, 0.04, 0.8)


def machine(name, material_name="PA12", chamber_type="small"):
    return Machine(name, material_name, chamber_type, 0.1, 60, 10, 0, 0.2, 5000, 2000, 0.01, 10, 30, 20, 120, 9, 0.1, 1)


def cell(machines=1, chambers=2, people=None, **changes):
    """One material, `machines` M1.., `chambers` K1.., one of each station, Ada with every skill on day shift."""
    made = Cell(
        name="bench world",
        timezone="UTC",
        room_c=22,
        materials=(material(),),
        chamber_types=(ChamberType("small", 200, 200, 300, 5, 5, 5, 5, 30),),
        chambers=tuple(Chamber(f"K{i + 1}", "small", "PA12") for i in range(chambers)),
        machines=tuple(machine(f"M{i + 1}") for i in range(machines)),
        stations=(Station("bench", "unpack"), Station("cabinet", "blast"), Station("bath", "dye")),
        people=people or (Person("Ada", ALL_SKILLS, (DAY_SHIFT,)),),
        finishes=(PLAIN, BLASTED, DYED),
        classes=(QualityClass("standard", 0.4, 1, 10),),
        rates=Rates("cu", 48, 10, 30, 5, 2, 5),
        nesting=NestingRules(4, 2, 10),
        failures=FailureHistory(3, 60),
    )
    return replace(made, **changes)


def build(key, hours=10.0, cool_h=8.0, machines=("M1",), **changes):
    made = BuildJob(
        key,
        "PA12",
        "small",
        {name: round(hours * 60) for name in machines},
        round(cool_h * 60),
        120,
        30,
        20,
        60,
        30,
        MONDAY,
    )
    return replace(made, **changes)


def line(number, builds, due_days=3.0, finish=PLAIN, **changes):
    made = LineJob(number, tuple(builds), finish, 10, 30, 10, MONDAY + timedelta(days=due_days), 1.0)
    return replace(made, **changes)
