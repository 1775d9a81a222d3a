"""A simulated house of 100 machines and 1,000 order lines a day: size of the store, recall, pages, time to plan a day.

    PYTHONPATH=. python benchmarks/scale.py store 1000000 [--db FILE_OR_ADDRESS]    pieces in the history
    PYTHONPATH=. python benchmarks/scale.py orders 1000 [--workers N]               time to plan a day from its files
    PYTHONPATH=. python benchmarks/scale.py day                                     dates alone for such a day

What is simulated and what is real stands in docs/explanation/scale.md. Prints tables; seconds are of this machine.
"""

from __future__ import annotations

import argparse
import os
import platform
import resource
import statistics
import tempfile
import time
import warnings
from datetime import UTC, datetime, timedelta
from pathlib import Path

from scale_world import LINES, PIECES_PER_LINE, fill
from tests.documents.world import START

from cakewright.store import open_store

PAGES = ("", "/lines", "/lines/17", "/builds", "/builds/B7", "/builds/B7/unpack?by=P001", "/builds/B7/run?by=P001",
         "/calendar", "/powder", "/numbers")  # fmt: skip
ASKED = 5


def clocked(deed, times: int = 5) -> tuple[float, object]:
    """Median seconds of a deed, and what it gave."""
    took = []
    for _ in range(times):
        began = time.perf_counter()
        value = deed()
        took.append(time.perf_counter() - began)
    return statistics.median(took), value


def row(*cells: object) -> None:
    print("| " + " | ".join(str(c) for c in cells) + " |", flush=True)


def of_store(pieces: int, db: str | None) -> None:
    days = max(1, pieces // (LINES * PIECES_PER_LINE))
    with tempfile.TemporaryDirectory(dir=os.environ.get("SCALE_FOLDER")) as folder:
        place = db or str(Path(folder) / "scale.sqlite")
        with open_store(place) as store:
            began = time.perf_counter()
            if not store.plans():
                fill(store, days)
            made = time.perf_counter() - began
            kind = "PostgreSQL" if store.is_on_server else "SQLite"
            print(f"\n{kind}, {platform.machine()}, {os.cpu_count()} cores, "
                  f"load {os.getloadavg()[0]:.1f}, {datetime.now(UTC):%Y-%m-%d}, {days} days, "
                  f"{days * LINES * PIECES_PER_LINE:,} pieces\n")  # fmt: skip
            row("what", "value", "note")
            row("---", "---", "---")
            row("generated in", f"{made:.0f} s", "copies inside the database")
            row("size of the store", f"{store.size_bytes / 1e9:.2f} GB",
                f"{store.size_bytes / (days * LINES * PIECES_PER_LINE):.0f} B a piece")  # fmt: skip
            of_recall(store, days)
        with open_store(place) as store:
            of_pages(store, days)
    row("peak memory of this program", f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB", "")


def of_recall(store, days: int) -> None:
    lot = f"V{days // 10 + 1}"
    tables = store.powder.recall
    took, builds = clocked(lambda: tables.builds(lot, 0.005))
    row(
        "recall: builds of a lot",
        f"{1000 * took:.0f} ms",
        f"{len(builds)} builds, {sum(b.pieces for b in builds):,} pieces",
    )
    took, orders = clocked(lambda: tables.orders(lot, 0.005))
    row("recall: orders and customers", f"{1000 * took:.0f} ms", f"{len(orders)} orders")
    took, lines = clocked(lambda: tables.lines(lot, 0.005, 50))
    row("recall: lines of the 50 strongest builds", f"{1000 * took:.0f} ms", f"{len(lines)} lines")
    took, pieces = clocked(lambda: sum(1 for _ in tables.pieces(lot, 0.005)), 1)
    row("recall: every single piece", f"{took:.1f} s", f"{pieces:,} pieces")
    took, _ = clocked(lambda: tables.lots_of_piece(days, "L0500-07"))
    row("from a piece to its lots", f"{1000 * took:.1f} ms", "")
    took, found = clocked(lambda: tables.lots_of_order(f"A00100-{max(days, 2)}"))
    row("from an order to its lots", f"{1000 * took:.1f} ms", f"{len(found)} rows")


def of_pages(store, days: int) -> None:
    from cakewright.web.application import create_app

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from starlette.testclient import TestClient

        client = TestClient(create_app(store, clock=lambda: START + timedelta(hours=20)), base_url="http://127.0.0.1",
                            raise_server_exceptions=False)  # fmt: skip
    every: list[float] = []
    worked: list[float] = []
    for below in ("/plans", *(f"/plans/{days}{page}" for page in PAGES)):
        took, busy = [], []
        for _ in range(ASKED):
            began, used = time.perf_counter(), time.process_time()
            answer = client.get(below)
            took.append(time.perf_counter() - began)
            busy.append(time.process_time() - used)
        every += took[1:]
        worked += busy[1:]
        usual, work = (1000 * statistics.median(found[1:]) for found in (took, busy))
        row(f"page {below}", f"{usual:.0f} ms, processor {work:.0f} ms",
            f"first time {took[0]:.2f} s; {len(answer.content) / 1e6:.2f} MB; status {answer.status_code}")  # fmt: skip
    cuts = statistics.quantiles(every, n=20)
    row("all pages, p50 and p95 (not the first time)", f"{1000 * cuts[9]:.0f} and {1000 * cuts[18]:.0f} ms",
        f"{len(every)} answers")  # fmt: skip
    cuts = statistics.quantiles(worked, n=20)
    row("the same in processor time", f"{1000 * cuts[9]:.0f} and {1000 * cuts[18]:.0f} ms", "")


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    what = ask.add_subparsers(dest="what", required=True)
    kept = what.add_parser("store")
    kept.add_argument("pieces", type=int)
    kept.add_argument("--db")
    what.add_parser("day")
    day = what.add_parser("orders")
    day.add_argument("lines", type=int)
    day.add_argument("--machines", type=int, default=100)
    day.add_argument("--workers", type=int, default=0, help="processes of a local cluster; 0: this computer alone")
    day.add_argument("--seconds", type=float, default=2.0, help="search time for each nest")
    given = ask.parse_args()
    if given.what == "store":
        of_store(given.pieces, given.db)
    elif given.what == "orders":
        import scale_orders

        scale_orders.main(given.lines, given.machines, given.workers, given.seconds)
    else:
        import scale_day

        scale_day.main()


if __name__ == "__main__":
    main()
