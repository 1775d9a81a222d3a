"""Recall over a generated history: from a lot to one million pieces and back, in the store's own tables.

Prints a table: what, value, baseline in the same run, ratio. Baseline for the graph is the plain loop
over movements with one dictionary of shares for each container; for the tables, the same question asked
without their indexes. Usage: python benchmarks/powder_recall.py [pieces]
"""

import random
import resource
import sqlite3
import sys
import tempfile
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from cakewright.app.powder_books import look
from cakewright.app.powder_recall import recall_lot
from cakewright.powder.genealogy import trace
from cakewright.powder.ledger import OUTSIDE, Container, ContainerKind, EntryKind, Ledger, Lot
from cakewright.store import open_store

SEED, BUILDS, LOTS, CANS, THRESHOLD = 1, 4000, 160, 20, 0.005
PIECES = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
PER_PLAN, LINES, CUSTOMERS = 10, 100, 400  # builds and lines of a plan, customers in all
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


def fill(path: Path, ledger: Ledger, graph) -> None:
    """Write plans, pieces, the whole ledger and the shares of every build straight into a database of the store."""
    open_store(path).close()
    rng = random.Random(SEED)
    db = sqlite3.connect(path)
    db.execute("pragma synchronous=off")
    insert(db, "cell", ({"sha256": "c", "name": "bench", "description": "{}"},))
    insert(db, "mesh", ({"sha256": "m", "vertex_count": 0, "face_count": 0, "vertices": b"", "faces": b""},))
    plans = BUILDS // PER_PLAN
    insert(db, "plan", ({"version": v, "cell_sha256": "c"} for v in range(1, plans + 1)))
    insert(db, "part", ({"plan": v, "key": "p", "mesh_sha256": "m"} for v in range(1, plans + 1)))
    insert(db, "order_line", ({"plan": v, "position": n, "line": n, "order_number": f"O-{v}-{n // 4}", "quantity": 1,
                               "customer": f"customer {(v * 25 + n // 4) * 7919 % CUSTOMERS}", "part": f"part {n}"}
                              for v in range(1, plans + 1) for n in range(LINES)))  # fmt: skip
    keys = [(b // PER_PLAN + 1, f"B{b % PER_PLAN + 1}") for b in range(BUILDS)]
    insert(db, "build", ({"plan": v, "position": i, "key": k} for i, (v, k) in enumerate(keys)))
    each = PIECES // BUILDS
    insert(db, "placement", ({"plan": v, "build": k, "position": n, "piece": f"{k}-{n}", "part_key": "p",
                              "line": rng.randrange(LINES)} for v, k in keys for n in range(each)))  # fmt: skip
    insert(db, "powder_lot", ({"key": x.key, "material": x.material, "supplier_lot": x.supplier_lot,
                               "received": x.received.isoformat(), "certificate": "c"}
                              for x in ledger.lots.values()))  # fmt: skip
    of_build = {f"{letter}{b}": keys[b] for b in range(BUILDS) for letter in "MP"}
    insert(db, "powder_container", ({"key": c.key, "kind": c.kind.value, "material": c.material, "lot": c.lot,
                                     "plan": of_build.get(c.key, (None, None))[0], "capacity_g": None,
                                     "build": of_build.get(c.key, (None, None))[1], "may_owe": c.kind in OUTSIDE}
                                    for c in ledger.containers.values()))  # fmt: skip
    insert(db, "powder_entry", ({"number": e.number, "at": e.at.strftime("%Y-%m-%d %H:%M:%S.%f"), "kind": e.kind.value,
                                 "source": e.source, "target": e.target, "grams": e.grams, "who": e.who,
                                 "exposures": e.exposures, "dose_h": e.dose_h, "corrects": None}
                                for e in ledger.entries))  # fmt: skip
    shares = graph.compositions([f"P{b}" for b in range(BUILDS)])
    insert(db, "powder_share", ({"origin": graph.origins[j], "plan": keys[b][0], "build": keys[b][1],
                                 "share": float(shares[b, j])}
                                for b, j in zip(*(shares >= 0.001).nonzero(), strict=True)))  # fmt: skip
    db.execute("insert into powder_order select p.plan, p.build, l.order_number, l.customer, count(*) from placement p "
               "join order_line l on l.plan = p.plan and l.line = p.line group by 1, 2, 3, 4")  # fmt: skip
    db.execute("analyze")
    db.commit()
    db.close()


def insert(db: sqlite3.Connection, table: str, rows) -> None:
    """Rows as dictionaries; columns that must not be empty get a zero or nothing."""
    columns = [(r[1], r[2], r[3]) for r in db.execute(f"pragma table_info({table})")]
    dummy = {"TEXT": "", "VARCHAR(64)": "", "FLOAT": 0.0, "INTEGER": 0, "BOOLEAN": 0, "BLOB": b"",
             "DATETIME": "2027-01-01 00:00:00.000000", "DATE": "2027-01-01"}  # fmt: skip
    empty = {name: dummy[kind] if needed else None for name, kind, needed in columns}
    names = ", ".join(f'"{name}"' for name, _, _ in columns)
    marks = ", ".join("?" for _ in columns)
    db.executemany(f"insert into {table} ({names}) values ({marks})",
                   (tuple((empty | row).values()) for row in rows))  # fmt: skip


def without_index(path: Path, lot: str):
    """The same lines by the same join, with no index to help."""
    db = sqlite3.connect(path)
    query = """select s.plan, s.build, p.line, count(*), max(s.share) from placement p not indexed
        join powder_share s not indexed on s.plan = p.plan and s.build = p.build
        where s.origin = ? and s.share >= ? group by s.plan, s.build, p.line"""
    rows = db.execute(query, (lot, THRESHOLD)).fetchall()
    db.close()
    return rows


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


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
    builds = sum(key[0] == "P" for key in hit)
    print(f"seed {SEED}, {len(ledger.entries)} entries, {BUILDS} builds, {PIECES} pieces, {LOTS} lots, "
          f"threshold {THRESHOLD:.1%}")  # fmt: skip
    print(f"python {sys.version.split()[0]}, SQLite {sqlite3.sqlite_version}")
    print("| what | value | baseline | ratio |\n|---|---|---|---|")
    print(f"| book {len(ledger.entries)} entries in memory | {booked:.2f} s | | |")
    print(f"| build the graph | {trace_s:.3f} s | | |")
    solve = f"{recall_s * 1e3:.1f} ms | {plain_s * 1e3:.1f} ms plain walk | {plain_s / recall_s:.1f}"
    print(f"| lot -> containers, sparse solve | {solve} |")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bench.sqlite"
        fill(path, ledger, graph)
        size = path.stat().st_size / 2**20
        before = peak_mb()
        with open_store(path) as store:
            recall = store.powder.recall
            first = time.perf_counter()
            recall.orders(lot, THRESHOLD)
            first = time.perf_counter() - first
            orders_s, orders = timed(lambda: (recall.builds(lot, THRESHOLD), recall.orders(lot, THRESHOLD)))
            scan_s, scanned = timed(lambda: without_index(path, lot), 1)
            pieces = sum(order.pieces for order in orders[1])
            assert pieces == builds * (PIECES // BUILDS) == sum(row[3] for row in scanned), "the answers differ"
            said = f"{orders_s * 1e3:.0f} ms (first time {first * 1e3:.0f}) | {scan_s * 1e3:.0f} ms counting, no index"
            print(f"| lot -> {pieces} pieces in {len(orders[0])} builds, {len(orders[1])} orders | {said} | "
                  f"{scan_s / orders_s:.0f} |")  # fmt: skip
            top_s, top = timed(lambda: recall.lines(lot, THRESHOLD, 20))
            print(f"| the {len(top)} lines of the 20 builds with most of it | {top_s * 1e3:.0f} ms | | |")
            all_s, listed = timed(lambda: sum(1 for _ in recall.pieces(lot, THRESHOLD)), 1)
            print(f"| every single one of the {listed} pieces, as the file has them | {all_s * 1e3:.0f} ms | | |")
            back_s, back = timed(lambda: recall.lots_of_piece(BUILDS // PER_PLAN // 2, "B3-7"))
            print(f"| piece -> {len(back)} lots | {back_s * 1e3:.2f} ms | | |")
            order_s, rows = timed(lambda: recall.lots_of_order(f"O-{BUILDS // PER_PLAN // 2}-7"))
            print(f"| order -> {len(rows)} shares | {order_s * 1e3:.1f} ms | | |")
            read_s, _ = timed(lambda: look(store).graph, 1)
            print(f"| read and trace the whole ledger (once, then kept) | {read_s:.2f} s | | |")
            whole_s, found = timed(lambda: recall_lot(store, lot, THRESHOLD), 3)
            print(f"| the recall page: cans, lines, {len(found.customers)} customers | {whole_s * 1e3:.0f} ms | | |")
        print(f"| database | {size:.0f} MB | | |")
        print(f"| peak memory: making it, asking it | {before:.0f} MB, {peak_mb():.0f} MB | | |")


if __name__ == "__main__":
    main()
