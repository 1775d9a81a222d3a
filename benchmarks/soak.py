"""A month of demo cell B at high speed, through the public interface, everything checked every evening.

    PYTHONPATH=. python benchmarks/soak.py --days 28 --seed 1

The small form of the cell's week (all machines, powders and traps, a few pieces of most lines) is planned first; every
Monday after that new orders come in and are planned. Builds are blended, released, checked, started, ended or stopped,
taken apart, weighed back and sieved; cans are weighed, pieces measured. Prints one row a day.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from datetime import timedelta
from importlib.resources import files
from pathlib import Path

from tests.cell_b import MONDAY, copied, planned_database, small_parts
from tests.soak import Actor, evening
from tests.web.browser import served

from cakewright.store import open_store
from cakewright.web.application import create_app

NEW_LINES = [5, 15, 16]  # small parts: planned in seconds


def main() -> int:
    """Live the days and print what was found."""
    ask = argparse.ArgumentParser()
    ask.add_argument("--days", type=int, default=28)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--planned", type=Path, help="Keep the planned week here, or use the one that lies here.")
    given = ask.parse_args()
    begin, used = time.monotonic(), time.process_time()
    rows = []
    with tempfile.TemporaryDirectory() as work:
        place = given.planned or Path(work)
        database = copied(planned_database(place), Path(work))
        meshes = small_parts(Path(work) / "meshes")
        cell_file = (files("cakewright.demo") / "cell_b.toml").read_bytes()
        now = [MONDAY]
        print(
            "| day | deeds | plans | builds begun | pieces | entries | drift g | changes | memory MB |\n|" + "---|" * 9
        )
        with open_store(database) as store, served(create_app(store, clock=lambda: now[0])) as address:
            actor = Actor(address, given.seed, MONDAY)
            for day in range(given.days):
                now[0] = actor.now = MONDAY + timedelta(days=day)
                if actor.now.weekday() == 0 and day:
                    actor.orders(NEW_LINES, meshes, cell_file)
                if actor.now.weekday() < 5:
                    actor.works()
                seen = evening(store, actor, database)
                rows.append(seen)
                print(f"| {seen.day:%a %d %b} | {seen.asked} | {seen.plans} | {seen.begun} | {seen.found} | "
                      f"{seen.entries} | {seen.drift_g} | {seen.changes} | {seen.megabytes:.0f} |",
                      flush=True)  # fmt: skip
            stops = actor.stops
    grown = rows[-1].megabytes - rows[len(rows) // 4].megabytes
    print(f"\nseed {given.seed}: {rows[-1].asked} deeds, {stops} stops, all held on {len(rows)} evenings; drift "
          f"{max(r.drift_g for r in rows)} g; largest error of a scale {rows[-1].worst_reading_g:.0f} g, named and "
          f"booked; memory {grown:+.0f} MB from the first quarter to the end; {time.process_time() - used:.0f} s of "
          f"the processor here, {time.monotonic() - begin:.0f} s on the clock")  # fmt: skip
    return 0


if __name__ == "__main__":
    sys.exit(main())
