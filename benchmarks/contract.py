"""Many generated questions to every operation of the interface, judged against its own description.

    PYTHONPATH=. python benchmarks/contract.py --examples 300 --seed 1

Prints for each operation how many questions were answered with which status, and what was wrong. Exit code 1 when
anything was: a fault, a status, type or shape that is not described, or a bad question that was taken.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

from tests.web.contract import ask, operations, served_world


def main() -> int:
    """Ask until every operation has had its share."""
    given = argparse.ArgumentParser()
    given.add_argument("--examples", type=int, default=300)
    given.add_argument("--seed", type=int, default=1)
    wanted = given.parse_args()
    wrong = total = 0
    begin = time.process_time()
    print("| operation | answers |\n|---|---|")
    with tempfile.TemporaryDirectory() as work, served_world(Path(work)) as address:
        for operation in operations(address):
            try:
                statuses = ask(operation, address, examples=wanted.examples, seed=wanted.seed)
            except Exception as fault:  # whatever it is, the table goes on and the exit code tells
                wrong += 1
                print(f"| {operation.label} | WRONG: {str(fault)[:300]!r} |")
                continue
            total += sum(statuses.values())
            said = ", ".join(f"{count} x {status}" for status, count in sorted(statuses.items()))
            print(f"| {operation.label} | {said} |")
    print(f"\n{total} questions, {wrong} operations wrong; {time.process_time() - begin:.0f} s of the processor")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
