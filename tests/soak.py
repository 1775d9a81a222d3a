"""A seeded actor who runs demo cell B through the public interface, day by day, and what must hold every evening."""

from __future__ import annotations

import gc
import html
import os
import random
import re
import sqlite3
import time
from contextlib import closing
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from urllib.parse import unquote

import httpx

from cakewright.demo import demo_orders
from cakewright.documents.traveller import CHECKS
from cakewright.powder.ledger import OUTSIDE
from cakewright.store import PieceState, Store
from cakewright.store.backup import check_file

PEOPLE = ("Tobias Renn", "Kaya Lind")
FAILS, BROKEN, MISSING = 0.12, 0.01, 0.005  # chances, higher than the cell's record so that a month sees some
SCALE_KG = 0.004  # spread of a reading
PER_DAY = 2  # builds started on a day
READ = ("", "/lines", "/builds", "/calendar", "/powder", "/papers", "/numbers", "/happened", "/baskets", "/charts")
FINAL = ("done", "failed", "cancelled", "interrupted")
JOB_S = 900


@dataclass
class Evening:
    """What was found when a day was over."""

    day: datetime
    asked: int
    plans: int
    begun: int
    found: int
    entries: int
    drift_g: int
    worst_reading_g: float
    changes: int
    megabytes: float


@dataclass
class Actor:
    """Everybody of the cell in one: goes by the clock it is given, knows only what the pages say."""

    address: str
    seed: int
    now: datetime
    asked: int = 0
    begun: dict[tuple[int, str], datetime] = field(default_factory=dict)
    over: set[tuple[int, str]] = field(default_factory=set)
    left: set[str] = field(default_factory=set)
    worst_g: float = 0.0
    stops: int = 0

    def __post_init__(self) -> None:
        self.dice = random.Random(self.seed)
        self.line = httpx.Client(base_url=self.address, headers={"origin": self.address}, timeout=300)

    def get(self, path: str, **query: object) -> httpx.Response:
        """Read; anything but a good answer is a fault."""
        self.asked += 1
        answer = self.line.get(path, params={k: str(v) for k, v in query.items()})
        assert answer.status_code == 200, f"{path}: {answer.status_code} {words(answer.text)}"
        return answer

    def post(self, path: str, allowed: tuple[int, ...] = (200, 201, 202, 303), **form: object) -> httpx.Response:
        """Write; anything but a good answer is a fault."""
        self.asked += 1
        answer = self.line.post(path, data={k: v if isinstance(v, list) else str(v) for k, v in form.items()})
        assert answer.status_code in allowed, f"{path}: {answer.status_code} {words(answer.text)}"
        return answer

    def newest(self) -> int:
        """The plan that counts."""
        return int(self.get("/api/v1/health").json()["newest_plan"])

    def works(self) -> None:
        """One day of the week: what printed is ended or has stopped, new builds begin, some cans are weighed."""
        for version, key in [one for one, at in self.begun.items() if one not in self.over and at < self.now]:
            if self.dice.random() < FAILS:
                self.stopped(version, key)
            else:
                self.ended(version, key)
        version = self.newest()
        known = {build["build"]: build for build in self.get(f"/api/v1/plans/{version}/builds").json()}
        waiting = [
            k for k in known if (version, k) not in self.begun and f"{self.left_of(version)}{k}" not in self.left
        ]
        waiting.sort(key=lambda k: known[k]["load"] or "")
        for key in waiting[:PER_DAY]:
            self.begins(version, key)
        for can in self.dice.sample(self.cans(), 2):
            self.weighs(can["key"], can["kg"])
        for place in self.dice.sample(READ, 3):
            self.get(f"/plans/{version}{place}")

    def left_of(self, version: int) -> str:
        """Builds of plans made again keep their key: they are the same build while the orders are the same."""
        return f"{self.get(f'/api/v1/plans/{version}').json()['order_source']}:"

    def begins(self, version: int, key: str) -> None:
        """Powder, release, label, checks, start."""
        who, base = self.dice.choice(PEOPLE), f"/plans/{version}/builds/{key}"
        page = self.get(f"{base}/powder", by=who).text
        asked = dict(re.findall(r'name="asked:([^"]+)" value="([\d.]+)"', page))
        assert asked, f"{base}: no blend is proposed: {words(page)}"
        form = {f"asked:{can}": kg for can, kg in asked.items()} | {f"kg:{can}": kg for can, kg in asked.items()}
        form |= {f"whole:{can}": "1" for can in re.findall(r'name="whole:([^"]+)"', page)}
        told = self.post(f"{base}/powder", step="weigh", by=who, **form).headers["location"]
        blend = re.search(r"Blend (\S+):", unquote(told.replace("+", " "))).group(1)  # type: ignore[union-attr]
        self.post(f"{base}/powder", step="charge", by=who, blend=blend)
        self.post(f"{base}/run/release", by=who)
        build = self.get(f"/api/v1/plans/{version}/builds/{key}").json()
        task = next(t for t in self.get(f"/api/v1/plans/{version}/tasks").json()
                    if t["build"] == key and t["kind"] == "print")  # fmt: skip
        for code in (task["chamber"], blend):
            self.post(f"{base}/run/scan", by=who, code=code)
        for number in range(1, len(CHECKS) + 1):
            self.post(f"{base}/run/check", by=who, check=f"c{number:02d}", found="" if number != 4 else "a nick")
        self.post(f"{base}/run/start", by=who)
        self.begun[version, key] = self.now
        self.left.add(f"{self.left_of(version)}{key}")
        assert build["is_clear"]

    def ended(self, version: int, key: str) -> None:
        """The print has ended, the cake is cold: take it apart, weigh what came back, sieve it, measure some."""
        who, base = self.dice.choice(PEOPLE), f"/plans/{version}/builds/{key}"
        self.post(f"{base}/run/end", by=who)
        build = self.get(f"/api/v1/plans/{version}/builds/{key}").json()
        states: dict[str, list[str]] = {}
        for piece in build["pieces"]:
            luck = self.dice.random()
            state = "broken" if luck < BROKEN else "missing" if luck < BROKEN + MISSING else "found"
            states.setdefault(state, []).append(piece["piece"])
        for state, pieces in states.items():
            self.post(f"{base}/unpack", piece=pieces, state=state, by=who)
        for piece in self.dice.sample(build["pieces"], min(2, len(build["pieces"]))):
            self.post(f"/plans/{version}/lines/{piece['line']}/inspect", piece=piece["piece"], name="width",
                      value=f"{self.dice.gauss(20, 0.05):.3f}", low="19.8", high="20.2", gauge="",
                      by="Pilar Osei")  # fmt: skip
        self.powder_back(base, build, who)
        self.over.add((version, key))

    def powder_back(self, base: str, build: dict[str, object], who: str) -> None:
        """Overflow and loose cake on the scale; the difference has a name; both go through the sieve."""
        need = build["powder"]
        assert isinstance(need, dict)
        back = float(need["back_kg"])
        overflow = round(0.2 * back, 3)
        told = self.post(f"{base}/powder", step="back", by=who, parts="", CAKE=f"{back - overflow:.3f}",
                         OVERFLOW=f"{overflow:.3f}", rest="spilt and stuck").headers["location"]  # fmt: skip
        for can in re.findall(r"kg in (\w+)", unquote(told.replace("+", " "))):
            kg = next(c["kg"] for c in self.cans() if c["key"] == can)
            over = round(0.01 * kg, 3)
            self.post("/powder/book/sieve", can=can, through=f"{kg - over:.3f}", oversize=f"{over:.3f}", by=who)

    def stopped(self, version: int, key: str) -> None:
        """The power goes in the middle; the first way out is taken."""
        build = self.get(f"/api/v1/plans/{version}/builds/{key}").json()
        layer, at = build["layers"] // 2, self.now.replace(tzinfo=None).isoformat(timespec="minutes")
        page = self.waited(f"/plans/{version}/builds/{key}/stopped/asked", layer=layer, cause="power", at=at)
        found = re.search(r'name="draft" value="([^"]+)">\s*<input type="hidden" name="way" value="([^"]+)"', page)
        self.over.add((version, key))
        if found is None:
            return
        self.stops += 1
        self.waited(f"/plans/{version}/builds/{key}/stopped", draft=html.unescape(found[1]), way=found[2],
                    by="Ines Marlow", note="power cut")  # fmt: skip

    def waited(self, place: str, **data: object) -> str:
        """Ask for a job and wait for its end; the page it leads to."""
        job = self.post(place, **data).headers["location"]
        self.get(job.partition("?")[0] + "/events")  # ends with the job
        answer = self.line.get(job)
        return self.get(answer.headers["location"]).text if answer.status_code == 303 else answer.text

    def cans(self) -> list[dict[str, object]]:
        """Cans with powder that have a label."""
        return [c for c in self.get("/api/v1/powder/cans").json() if c["is_labelled"] and c["kg"] > 0.05]

    def weighs(self, can: object, kg: object) -> None:
        """A reading with the error of a scale, entered with its name."""
        assert isinstance(kg, float)
        read = round(max(0.01, kg + self.dice.gauss(0, SCALE_KG)), 3)
        self.worst_g = max(self.worst_g, abs(read - kg) * 1000)
        self.asked += 1
        answer = self.line.post(f"/api/v1/powder/cans/{can}/readings",
                                json={"kg": read, "by": self.dice.choice(PEOPLE),
                                      "reason": "month's weighing"})  # fmt: skip
        assert answer.status_code == 201, answer.text

    def orders(self, lines: list[int], meshes: Path, cell_file: bytes) -> int:
        """New orders come in: list, cell and files into a tray, a plan is asked for and waited for; its version."""
        tray = self.line.post("/api/v1/trays").json()["tray"]
        wanted = [line for line in demo_orders("b").lines if line.line in lines]
        rows = ["line,order,received,customer,part,rev,qty,material,finish,class,due,flags,file"]
        for n, line in enumerate(wanted, 1):
            due = (self.now + timedelta(days=9)).date()
            rows.append(f"{n},S-{self.now:%m%d},{self.now.date()},{line.customer},{line.part},{line.revision},"
                        f"{self.dice.randint(4, 12)},{line.material},{line.finish},{line.quality_class},{due},,"
                        f"{line.file}")  # fmt: skip
        files = {f"orders-{self.now:%m%d}.csv": "\r\n".join(rows).encode(), "cell.toml": cell_file}
        files |= {str(line.file): (meshes / str(line.file)).read_bytes() for line in wanted}
        for name, data in files.items():
            self.asked += 1
            answer = self.line.put(f"/api/v1/trays/{tray}/files/{name}", content=data)
            assert answer.status_code == 200, answer.text
        job = self.line.post(f"/api/v1/trays/{tray}/plan", params={"by": "Ines Marlow", "seconds": 0,
                             "start": self.now.replace(tzinfo=None).isoformat()}).json()  # fmt: skip
        end = time.monotonic() + JOB_S
        while job["state"] not in FINAL:
            assert time.monotonic() < end, job
            time.sleep(0.3)
            job = self.get(f"/api/v1/jobs/{job['number']}").json()
        assert job["state"] == "done", job
        return int(job["plan"])


def words(text: str) -> str:
    """What a person would read of a page, the end of it."""
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", text)))[-400:]


def evening(store: Store, actor: Actor, database: Path) -> Evening:
    """Check everything that must hold; raises AssertionError naming what does not."""
    assert check_file(database) >= 1  # every page readable, no row that points to nothing
    books = store.powder.read()
    levels = store.powder.levels()
    assert sum(levels.values()) == 0, "mass is made or lost"
    summed = _replayed(database)
    drift = max((abs(levels.get(k, 0) - summed.get(k, 0)) for k in {*levels, *summed}), default=0)
    assert drift == 0, f"balances differ from the entries by {drift} g"
    for key, container in books.ledger.containers.items():
        assert container.kind in OUTSIDE or levels.get(key, 0) >= 0, f"{key} holds less than nothing"
    changes, _ = store.accounts.verify_changes()
    summaries = store.plans()
    for version in {summaries[0].version, summaries[-1].version}:
        _whole(store, version)
    found = _pieces(store, actor)
    return Evening(actor.now, actor.asked, len(summaries), len(actor.begun), found, len(books.ledger.entries), drift,
                   actor.worst_g, changes, memory_mb())  # fmt: skip


def _replayed(database: Path) -> dict[str, int]:
    """Grams in each container, added up from the entries alone."""
    grams: dict[str, int] = {}
    with closing(sqlite3.connect(f"{database.absolute().as_uri()}?mode=ro", uri=True)) as link:
        rows = link.execute("select source, target, grams from powder_entry").fetchall()
    for source, target, amount in rows:
        grams[source] = grams.get(source, 0) - amount
        grams[target] = grams.get(target, 0) + amount
    return grams


def _whole(store: Store, version: int) -> None:
    """Every piece of every planned line stands in a build or is named as left out; every build is proven and timed."""
    plan = store.load_plan(version)
    there: dict[int, int] = {}
    for build in plan.builds:
        assert build.verification.is_clear, f"plan {version}, {build.key}: not clear"
        assert plan.schedule.of_build(build.key), f"plan {version}, {build.key}: not on the calendar"
        for placed in build.nest.placements:
            there[placed.line] = there.get(placed.line, 0) + (not placed.is_cage)
        for out in build.nest.left_out:
            there[out.line] = there.get(out.line, 0) + 1
    aside = {a.line for a in plan.set_aside}
    for line in plan.orders.lines:
        assert line.line in aside or there.get(line.line, 0) >= min(1, line.quantity), f"L{line.line} is nowhere"
    assert {p.line for p in plan.promises} | aside >= {line.line for line in plan.orders.lines}


def _pieces(store: Store, actor: Actor) -> int:
    """Each piece of a finished build was spoken of once, and only of such builds; how many there are."""
    count = 0
    for version, key in actor.begun:
        records = store.piece_records(version, key)
        assert len({r.piece for r in records}) == len(records)
        assert all(r.state in PieceState for r in records)
        placed = {p.piece for p in store.load_plan(version).build(key).nest.placements} if records else set()
        assert {r.piece for r in records} <= placed
        count += len(records)
    return count


def memory_mb() -> float:
    """Memory this process holds now."""
    gc.collect()
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6
