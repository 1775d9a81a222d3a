"""Recall over a generated history: from a lot to one million pieces and back, on SQLite.

Prints a table: what, value, baseline in the same run, ratio. Baseline for the graph is the plain loop
over movements with one dictionary of shares for each container. Usage: python benchmarks/powder_recall.py
"""

import random
import resource
import sqlite3
import sys
import time
from datetime import UTC, date, datetime, timedelta

from cakewright.powder.genealogy import trace
from cakewright.powder.ledger import Container, ContainerKind, EntryKind, Ledger, Lot

SEED, BUILDS, PIECES, LOTS, CANS, THRESHOLD = 1, 4000, 1_000_000, 160, 20, 0.005
START = datetime(2027, 1, 1, tzinfo=UTC)
GREY = "PA12 grey"


def history(rng: random.Random) -> Ledger:
    """`BUILDS` builds, each charged from a drum and two cans; cake and overflow go back into cans."""
    ledger = Ledger()
    ledger.add_container(Container("supplier", ContainerKind.SUPPLIER, ""))
    ledger.add_container(Container("waste", ContainerKind.WASTE, ""))
    for lot in range(LOTS):
        ledger.add_lot(Lot(f"V{lot}", GREY, f"S{lot}", date(2026, 1, 1), certificate="c"))
        ledger.add_container(Container(f"D{lot}", ContainerKind.VIRGIN, GREY, lot=f"V{lot}"))
    for can in range(CANS):
        ledger.add_container(Container(f"C{can}", ContainerKind.USED, GREY))
    every = BUILDS // LOTS
    for build in range(BUILDS):
        at, drum = START + timedelta(hours=4 * build), f"D{build // every}"
        if build % every == 0:
            ledger.move(at=at, source="supplier", target=drum, kg=8.0 * every, who="x", kind=EntryKind.RECEIVE)
        ledger.add_container(Container(f"M{build}", ContainerKind.CHARGE, GREY))
        ledger.add_container(Container(f"P{build}", ContainerKind.PARTS, GREY))
        ledger.move(at=at, source=drum, target=f"M{build}", kg=7.5, who="x")
        for can in rng.sample(range(CANS), 2):
            there = ledger.kg(f"C{can}")
            if there > 0.5:
                ledger.move(at=at, source=f"C{can}", target=f"M{build}", kg=round(min(8.0, there / 2), 3), who="x")
        held = ledger.kg(f"M{build}")
        ledger.move(at=at, source=f"M{build}", target=f"P{build}", kg=3.0, who="x", kind=EntryKind.PRINT, exposures=1)
        ledger.move(at=at, source=f"M{build}", target="waste", kg=1.0, who="x", kind=EntryKind.DISCARD)
        ledger.move(at=at, source=f"M{build}", target=f"C{rng.randrange(CANS)}", kg=round(held - 4.0, 3), who="x",
                    kind=EntryKind.PRINT, exposures=1)  # fmt: skip
        if build % 10 == 9:
            full = max(range(CANS), key=lambda can: ledger.kg(f"C{can}"))
            if ledger.kg(f"C{full}") > 60:
                ledger.move(at=at, source=f"C{full}", target="waste", kg=30.0, who="x", kind=EntryKind.DISCARD)
    return ledger


def plain(ledger: Ledger, lot: str) -> dict[str, float]:
    """Share of one lot in every container by walking through all movements."""
    grams, share, last = dict.fromkeys(ledger.containers, 0), dict.fromkeys(ledger.containers, 0.0), {}
    for m in ledger.movements():
        if ledger.containers[m.source].kind is ContainerKind.SUPPLIER:
            moved = 1.0 if ledger.containers[m.target].lot == lot else 0.0
        else:
            moved = share[m.source]
            grams[m.source] -= m.grams
        total = grams[m.target] + m.grams
        share[m.target] = (share[m.target] * grams[m.target] + moved * m.grams) / total
        grams[m.target] = total
        last[m.target] = share[m.target]
    return last


def timed(work, repeat=5):
    best, value = float("inf"), None
    for _ in range(repeat):
        began = time.perf_counter()
        value = work()
        best = min(best, time.perf_counter() - began)
    return best, value


def database(graph, rng: random.Random) -> sqlite3.Connection:
    """Pieces, and for each build the shares by lot above 0.1 %."""
    db = sqlite3.connect(":memory:")
    db.execute("create table piece (piece integer primary key, line integer, build integer)")
    db.execute("create table share (lot text, build integer, share real)")
    each = PIECES // BUILDS
    db.executemany("insert into piece values (?, ?, ?)",
                   ((k, rng.randrange(100_000), k // each) for k in range(PIECES)))  # fmt: skip
    shares = graph.compositions([f"P{b}" for b in range(BUILDS)])
    rows = [(graph.origins[j], b, float(shares[b, j])) for b, j in zip(*(shares >= 0.001).nonzero(), strict=True)]
    db.executemany("insert into share values (?, ?, ?)", [(o, int(b), s) for o, b, s in rows])
    db.execute("create index piece_build on piece (build, line)")
    db.execute("create index share_lot on share (lot, share)")
    db.execute("create index share_build on share (build)")
    return db


def main() -> None:
    rng = random.Random(SEED)
    began = time.perf_counter()
    ledger = history(rng)
    booked = time.perf_counter() - began
    trace_s, graph = timed(lambda: trace(ledger), 3)
    lot = f"V{LOTS // 2}"
    _ = graph.share_of(lot)  # factor once
    recall_s, hit = timed(lambda: graph.recall(lot, THRESHOLD))
    plain_s, walked = timed(lambda: plain(ledger, lot), 3)
    expected = {k for k, s in walked.items() if s >= THRESHOLD}
    assert set(hit) == expected, "recall differs from the plain walk"
    db = database(graph, rng)
    join = "from share s join piece p on p.build = s.build"
    query = f"select p.piece, p.line, s.share {join} where s.lot = ? and s.share >= ?"
    sql_s, rows = timed(lambda: db.execute(query, (lot, THRESHOLD)).fetchall())
    count = f"select count(*), count(distinct p.line) {join} where s.lot = ? and s.share >= ?"
    count_s, counted = timed(lambda: db.execute(count, (lot, THRESHOLD)).fetchone())
    backward = f"select s.lot, s.share {join} where p.piece = ? order by s.share desc"
    back_s, back = timed(lambda: db.execute(backward, (777_777,)).fetchall())
    builds = {int(key[1:]) for key in hit if key[0] == "P"}
    assert counted[0] == len(rows) == len(builds) * (PIECES // BUILDS), "SQL recall differs from the graph"
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"seed {SEED}, {len(ledger.entries)} entries, {BUILDS} builds, {PIECES} pieces, {LOTS} lots")
    print(f"python {sys.version.split()[0]}, SQLite {sqlite3.sqlite_version}")
    print("| what | value | baseline | ratio |\n|---|---|---|---|")
    print(f"| book {len(ledger.entries)} entries | {booked:.2f} s | | |")
    print(f"| build the graph | {trace_s:.3f} s | | |")
    solve = f"{recall_s * 1e3:.1f} ms | {plain_s * 1e3:.1f} ms plain walk | {plain_s / recall_s:.1f}"
    print(f"| lot -> containers, sparse solve | {solve} |")
    print(f"| lot -> {len(rows)} pieces, rows fetched, SQLite | {sql_s * 1e3:.1f} ms | | |")
    print(f"| lot -> count of pieces and lines, SQLite | {count_s * 1e3:.1f} ms | | |")
    print(f"| piece -> {len(back)} lots above 0.1 %, SQLite | {back_s * 1e3:.2f} ms | | |")
    print(f"| peak memory | {peak:.0f} MB | | |")


if __name__ == "__main__":
    main()
