"""Kill -9 at random moments, thousands of times: during plans, imports, bookings, upgrades and backups.

    PYTHONPATH=. python benchmarks/kill.py --rounds 5000 --seed 1 [--seconds 3600] [--keep FOLDER]

Each round forks one child or two at a time, kills them at a random moment, looks at what is left
(`tests/store/killing.py` says what must hold), and every fourth time also at a copy whose write-ahead log was cut at a
random byte. A new database every 25 rounds. Prints kills by deed, how many fell into a deed that was begun and not
acknowledged, and what was acknowledged. Exit code 1 and the folder kept when a promise was broken.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from tests.store.killing import DEEDS, kill, look, new_world, template, torn

EACH_WORLD = 25
TOGETHER = (("save", "backup"), ("book", "backup"), ("write", "book"), ("note", "import"), ("book", "note"))


def main() -> int:
    ask = argparse.ArgumentParser()
    ask.add_argument("--rounds", type=int, default=5000)
    ask.add_argument("--seconds", type=float, default=float("inf"))
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--keep", type=Path, default=Path(os.environ.get("OUT", tempfile.gettempdir())) / "kill-faults")
    given = ask.parse_args()
    rng = random.Random(given.seed)
    kills: Counter[str] = Counter()
    under_way: Counter[str] = Counter()
    acknowledged: Counter[str] = Counter()
    cut = done = 0
    begin = time.monotonic()
    with tempfile.TemporaryDirectory() as work:
        folder = Path(work)
        start = template(folder)
        world = new_world(folder / "w0", start)
        for done in range(given.rounds):
            if time.monotonic() - begin > given.seconds:
                break
            if done and done % EACH_WORLD == 0:
                shutil.rmtree(world.folder)
                world = new_world(folder / f"w{done}", start)
            deeds = rng.choice(TOGETHER) if rng.random() < 0.3 else (rng.choice(list(DEEDS)),)
            try:
                ended = kill(world, deeds, rng)
                if rng.random() < 0.25:
                    cut += torn(world, rng, folder / "torn")
                look(world, ended)
            except Exception as wrong:
                shutil.copytree(world.folder, given.keep, dirs_exist_ok=True)
                print(f"BROKEN in round {done} (seed {given.seed}, {deeds}): {wrong}; kept in {given.keep}", flush=True)
                return 1
            if done % 250 == 249:
                print(f"{done + 1} rounds, {time.monotonic() - begin:.0f} s, nothing lost", flush=True)
            for child in ended:
                kills[child.deed] += 1
                under_way[child.deed] += child.was_under_way
                acknowledged[child.deed] += len(child.acknowledged)
        else:
            done = given.rounds
    seconds = time.monotonic() - begin
    print(f"{'deed':<10} {'kills':>7} {'in a deed':>10} {'acknowledged':>13}  lost")
    for deed in DEEDS:
        print(f"{deed:<10} {kills[deed]:>7} {under_way[deed]:>10} {acknowledged[deed]:>13}  none")
    total = f"{kills.total()} kills in {done} rounds, {seconds:.0f} s; {cut} logs cut at a random byte"
    print(f"{total}; no promise broken (seed {given.seed})")
    return 0


if __name__ == "__main__":
    sys.exit(main())
