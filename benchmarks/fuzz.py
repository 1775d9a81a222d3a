"""Damaged files into every reader, for as long as asked: what is neither a result nor a refusal in words is kept.

    PYTHONPATH=. python benchmarks/fuzz.py --seconds 3600 --seed 1 [--keep FOLDER] [--only 3mf]

Prints for each kind of file: files tried, read, refused, faults, the slowest, and the seed. Each file has 5 s of the
processor and 1.5 GB more than the program already uses; every faulty file is written to the folder with its number.
Exit code 1 when there was a fault. The same seed gives the same files in the same order.
"""

from __future__ import annotations

import argparse
import os
import resource
import sys
import tempfile
import time
from collections import Counter, defaultdict
from pathlib import Path

import numpy as np
from tests.formats.fuzzing import damaged, kinds, try_one

MEMORY_BYTES = 1_500_000_000


def guard_memory() -> None:
    """No more address space than is used now and `MEMORY_BYTES` on top: beyond it a MemoryError, which is a fault."""
    pages = int(Path("/proc/self/statm").read_text().split()[0])
    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    resource.setrlimit(resource.RLIMIT_AS, (pages * os.sysconf("SC_PAGE_SIZE") + MEMORY_BYTES, hard))


def main() -> int:
    """Try files until the time is over."""
    ask = argparse.ArgumentParser()
    ask.add_argument("--seconds", type=float, default=60.0)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--keep", type=Path, default=Path(os.environ.get("OUT", tempfile.gettempdir())) / "fuzz-faults")
    ask.add_argument("--only", default="")
    given = ask.parse_args()
    said: dict[str, Counter[str]] = defaultdict(Counter)
    slowest: dict[str, float] = defaultdict(float)
    faults: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as work:
        known = [kind for kind in kinds(Path(work)) if given.only in kind.name]
        for kind in known:
            assert try_one(kind, kind.good, Path(work), 120.0) == "read", f"the valid {kind.name} file is not read"
        guard_memory()
        begin, number = time.monotonic(), 0
        while time.monotonic() - begin < given.seconds:
            kind = known[number % len(known)]
            data = damaged(kind, np.random.default_rng((given.seed, number)))
            start = time.process_time()
            outcome = try_one(kind, data, Path(work))
            slowest[kind.name] = max(slowest[kind.name], time.process_time() - start)
            said[kind.name][outcome if outcome in ("read", "refused") else "fault"] += 1
            if outcome not in ("read", "refused"):
                fault = f"{kind.name}: {outcome}"
                faults[fault] += 1
                if faults[fault] == 1:
                    given.keep.mkdir(parents=True, exist_ok=True)
                    (given.keep / f"{kind.name}-{given.seed}-{number}").write_bytes(data)
                    print(f"FAULT {fault}  (seed {given.seed}, number {number})", flush=True)
            number += 1
        taken = time.monotonic() - begin
    print(f"{'kind':<12} {'files':>8} {'read':>8} {'refused':>8} {'faults':>7} {'slowest':>9}  seed")
    for name, counts in said.items():
        told = f"{name:<12} {counts.total():>8} {counts['read']:>8} {counts['refused']:>8} {counts['fault']:>7}"
        print(f"{told} {slowest[name]:>7.2f} s  {given.seed}")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{number} files in {taken:.0f} s ({number / taken:.0f} a second), peak memory {peak:.0f} MB")
    for fault, count in faults.most_common():
        print(f"{count:>6} x {fault}")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
