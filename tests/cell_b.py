"""Demo cell B made small: all machines, powders and traps, few pieces of most lines; planned once for all tests."""

from __future__ import annotations

import fcntl
import shutil
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from cakewright.app.effort import effort_in_steps
from cakewright.app.plan_week import plan_week
from cakewright.demo import demo_cell, demo_orders, demo_parts
from cakewright.demo.powder import write_demo_powder
from cakewright.demo.writing import write_parts
from cakewright.model.order import OrderList
from cakewright.model.plan import WeekPlan
from cakewright.store import open_store

MONDAY = datetime(2027, 3, 1, 8, tzinfo=UTC)
PIECES: Mapping[int, int] = {  # of each line so many; left out are the lines of hundreds and the largest hollow parts
    1: 6,  # impeller covers, a repeat part
    3: 6, 4: 6,  # earcups, left and right in a mirror, dyed black on Wednesday
    5: 20,  # sliders to be counted
    6: 1, 7: 1,  # a pair of medical braces, each with a name of its own
    10: 4, 35: 4,  # gripper fingers of glass-filled powder, revisions G and H
    15: 8, 16: 8,  # sleds that differ by 1 mm
    19: 2,  # flat frames that may warp
    22: 2,  # mask bases, rush
    26: 2,  # impellers of glass-filled powder, rush
    29: 4,  # lens cells, fine
    39: 3, 40: 3,  # tensile bars of both powders
}  # fmt: skip


def small_orders() -> OrderList:
    """The week's lines that are kept, with their few pieces."""
    orders = demo_orders("b")
    kept = tuple(replace(line, quantity=PIECES[line.line]) for line in orders.lines if line.line in PIECES)
    return replace(orders, lines=kept)


def small_parts(folder: Path) -> Path:
    """Write the mesh files of those lines into `folder`."""
    parts = demo_parts("b")
    write_parts(folder, {line: parts[line] for line in PIECES})
    return folder


def small_week(folder: Path) -> WeekPlan:
    """The small week planned: same plan every time."""
    return plan_week(
        small_orders(), demo_cell("b"), small_parts(folder), start=MONDAY, now=MONDAY, effort=effort_in_steps(3),
        workers=2,
    )  # fmt: skip


def planned_database(shared_folder: Path) -> Path:
    """A database with the small week and the past of its powder, made by who comes first; copy it before writing."""
    place = shared_folder / "cell-b"
    with (shared_folder / "cell-b.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # other test processes wait here
        if not place.exists():
            half = shared_folder / "cell-b-half"
            half.mkdir()
            with open_store(half / "cakewright.sqlite") as store:
                write_demo_powder(store, demo_cell("b"), MONDAY.replace(hour=6))
                store.save_plan(small_week(half / "parts"), made_by="Ines Marlow", at=MONDAY)
            half.rename(place)
    return place / "cakewright.sqlite"


def copied(database: Path, folder: Path) -> Path:
    """A copy of a database that nobody has open."""
    return Path(shutil.copy(database, folder / "cakewright.sqlite"))
