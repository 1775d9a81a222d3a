"""Kill -9 on purpose: children that do one deed after another, a parent that ends them at any moment, a look after.

A child says on a pipe when it begins and when a deed was acknowledged to it. After the kill the store must open, hold
together, and have everything that was acknowledged; what was under way is there whole or not at all. A kill does not
empty the memory of the operating system: what a power cut can do beyond it is tried by `torn`, which cuts the end off
the write-ahead log as a disk would that had promised too much.
"""

from __future__ import annotations

import os
import random
import select
import shutil
import signal
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field, replace
from datetime import timedelta
from pathlib import Path

from cakewright.app import write_plan as writer
from cakewright.app.inbox import Inbox
from cakewright.app.keep_safe import back_up_to, backups_in
from cakewright.app.learn_times import take_log
from cakewright.errors import StoreError
from cakewright.model.floor import FloorKind, FloorRecord
from cakewright.store import Store, open_store
from cakewright.store.backup import check_file
from tests.store.filled import BLEND, DRUM, NOON, OUTSIDE, fill, tiny_week
from tests.store.old_databases import OLDER, revive
from tests.store.same import difference

DATABASE = "cakewright.sqlite"
Say = Callable[[str], None]
MESH = b"".join(bytes([n % 251]) for n in range(60_000))


@dataclass(slots=True)
class World:
    """A folder with a database that children work on, and what was acknowledged in it so far."""

    folder: Path
    seen_plans: set[int] = field(default_factory=set)
    acknowledged: dict[str, set[str]] = field(default_factory=dict)

    @property
    def db(self) -> Path:
        """The database."""
        return self.folder / DATABASE


def template(folder: Path) -> Path:
    """A database with rows in every table, to begin worlds from."""
    path = folder / "template.sqlite"
    with open_store(path) as store:
        fill(store)
    return path


def new_world(folder: Path, begin: Path) -> World:
    """A fresh folder."""
    folder.mkdir()
    shutil.copy(begin, folder / DATABASE)
    return World(folder, {1})


# --- deeds: each goes on until it is killed -------------------------------------------------------------------------


def save(world: World, say: Say, rng: random.Random) -> None:
    """Plans, one version after another."""
    with open_store(world.db) as store:
        while True:
            seed = rng.randrange(1 << 30)
            say(f"begin {seed}")
            say(f"ack {store.save_plan(replace(tiny_week(), seed=seed), made_by='kill', at=NOON)}")


def write(world: World, say: Say, rng: random.Random) -> None:
    """Plans with their folders; papers are short texts, for what is tried is how they are put in place."""
    short = {"traveller": lambda *_: b"paper " * 900}
    writer.PAPERS, writer.heat_pictures = short, lambda *_, **__: {"heat.svg": "<svg/>"}  # type: ignore[assignment]
    writer.handover_pdf, writer.report_html = lambda *_, **__: b"handover", lambda *_, **__: "report"  # type: ignore[assignment]
    writer.write_slips = lambda *_, **__: ()  # type: ignore[assignment]
    while True:
        seed = rng.randrange(1 << 30)
        say(f"begin {seed}")
        plan, _ = writer.write_plan(replace(tiny_week(), seed=seed), world.folder, at=NOON, made_by="kill")
        say(f"ack {plan.version}")


def book(world: World, say: Say, rng: random.Random) -> None:
    """Two movements at a time, kept together or not at all."""
    with open_store(world.db) as store:
        while True:
            say("begin")
            with store.powder.booking() as books:
                kg = rng.randrange(2, 40) / 1000
                out = books.move(at=NOON, source=DRUM, target=BLEND, kg=kg, who="kill", reason="pair")
                books.move(at=NOON, source=DRUM, target=BLEND, kg=0.001, who="kill", reason=f"pair of {out.number}")
            say(f"ack {out.number}")


def note(world: World, say: Say, rng: random.Random) -> None:
    """The floor log and the sealed record of changes."""
    with open_store(world.db) as store:
        while True:
            uid = f"kill-{rng.randrange(1 << 60):x}-00"
            say(f"begin {uid}")
            store.floor.add([FloorRecord(uid, 1, FloorKind.NOTE, "kill", NOON, "B1")], kept_at=NOON)
            row = store.accounts.note_change(account_name="kill", deed=uid, outcome=200, at=NOON)
            say(f"ack {uid} {row.number} {row.digest}")


def take_in(world: World, say: Say, rng: random.Random) -> None:
    """Files into the inbox, and a job log into the store."""
    inbox = Inbox(world.folder / "inbox")
    tray = inbox.open_tray()
    log = world.folder / "hours.csv"
    log.write_text("build,start,end\n1-B1,2027-03-01T06:00:00,2027-03-01T18:30:00\n", encoding="utf-8")
    with open_store(world.db) as store:
        while True:
            name = f"part-{rng.randrange(1 << 40):x}.stl"
            say(f"begin {tray}/{name}")
            coming = inbox.begin(tray, name)
            for at in range(0, len(MESH), 8192):
                coming.write(MESH[at : at + 8192])
            coming.keep()
            say(f"ack {tray}/{name}")
            say(f"begin log kill {name}")
            taken = take_log(log, store, cell=None, plan=1, by=f"kill {name}", at=NOON)
            assert taken.kept
            say(f"ack log kill {name}")


def back_up(world: World, say: Say, rng: random.Random) -> None:
    """One backup after the other, while whoever else works."""
    while True:
        at = NOON + timedelta(seconds=rng.randrange(1 << 26))
        say(f"begin {at.isoformat()}")
        made = back_up_to(world.db, world.folder / "backups", at=at)
        say(f"ack {made.path.name} {made.plans}")


def migrate(world: World, say: Say, rng: random.Random) -> None:
    """Databases of older versions of the schema, opened one after the other."""
    while True:
        revision = rng.choice(OLDER)
        path = world.folder / f"old-{rng.randrange(1 << 40):x}.sqlite"
        revive(revision, path)
        say(f"begin {path.name}")
        open_store(path).close()
        say(f"ack {path.name}")


DEEDS: dict[str, tuple[Callable[[World, Say, random.Random], None], float]] = {  # and the longest wait, seconds
    "save": (save, 0.5),
    "write": (write, 1.2),
    "book": (book, 0.3),
    "note": (note, 0.3),
    "import": (take_in, 0.6),
    "backup": (back_up, 0.6),
    "migrate": (migrate, 1.2),
}


# --- the kill -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Killed:
    """One child: its deed, when it was ended after the fork, what it said. `was_under_way`: begun, not acknowledged."""

    deed: str
    after_s: float
    said: tuple[str, ...]

    @property
    def acknowledged(self) -> list[str]:
        """What was acknowledged."""
        return [word[4:] for word in self.said if word.startswith("ack ")]

    @property
    def was_under_way(self) -> bool:
        """True when the last word was a beginning."""
        return bool(self.said) and self.said[-1].startswith("begin")


def start(world: World, deed: str, seed: int) -> tuple[int, int]:
    """Fork a child that does a deed; its id and the end of the pipe to read from."""
    reads, writes = os.pipe()
    child = os.fork()
    if child:
        os.close(writes)
        return child, reads
    status = 1
    try:
        os.close(reads)
        _go_on(world, deed, writes, random.Random(seed))
    except BaseException as wrong:  # a child that ends by itself is a fault, and its last word says which
        _put(writes, f"fault {type(wrong).__name__}: {wrong}")
    finally:
        os._exit(status)


def _go_on(world: World, deed: str, writes: int, rng: random.Random) -> None:
    """A deed that is refused because another program writes is begun again, as a person would."""
    while True:
        try:
            DEEDS[deed][0](world, lambda word: _put(writes, word), rng)
        except StoreError as wrong:
            if "another program is writing" not in wrong.found:
                raise
            _put(writes, "refused")


def _put(writes: int, word: str) -> None:
    os.write(writes, f"{word}\n".encode())


def kill(world: World, deeds: tuple[str, ...], rng: random.Random, *, least: int = 0) -> list[Killed]:
    """Let children work side by side and end them all at a random moment, sometimes while they still begin.

    With `least` each has said so many words before.
    """
    begun = time.monotonic()
    children = [(deed, *start(world, deed, rng.randrange(1 << 30))) for deed in deeds]
    heard = {child: b"" for _, child, _ in children}
    if rng.random() < 0.8 or least:  # otherwise the moment may also fall into the opening of the store
        for _, child, reads in children:
            select.select([reads], [], [], 20.0)
            while heard[child].count(b"\n") < least:
                heard[child] += os.read(reads, 4096)
    time.sleep(rng.uniform(0.0, max(DEEDS[deed][1] for deed in deeds)))
    for _, child, _ in children:
        os.kill(child, signal.SIGKILL)
    after = time.monotonic() - begun
    ended = []
    for deed, child, reads in children:
        os.waitpid(child, 0)
        with os.fdopen(reads, encoding="utf-8") as pipe:
            said = tuple((heard[child].decode() + pipe.read()).split("\n")[:-1])
        faults = [word for word in said if word.startswith("fault")]
        assert not faults, f"{deed}: {faults}"
        ended.append(Killed(deed, after, said))
    return ended


# --- the look after -------------------------------------------------------------------------------------------------


def look(world: World, ended: list[Killed]) -> None:
    """Open the store, hold every promise against it; AssertionError names the one that was broken."""
    for child in ended:
        world.acknowledged.setdefault(child.deed, set()).update(child.acknowledged)
    check_old_databases(world, ended)
    with open_store(world.db) as store:
        check_store(world, store)
        check_acknowledged(world, store)
    check_file(world.db)
    check_files(world)


def check_store(world: World, store: Store) -> None:
    """What must hold whatever happened: books that balance, plans that are whole, a record without a break."""
    versions = {p.version for p in store.plans()}
    for version in sorted(versions - world.seen_plans):
        plan = store.load_plan(version)
        wanted = replace(tiny_week(), version=version, made_by="kill", seed=plan.seed)
        found = difference(wanted, plan)
        assert found is None, f"plan {version} is not whole: {found}"
    world.seen_plans |= versions
    ledger = store.powder.read().ledger
    grams = ledger.grams()
    assert sum(grams.values()) == 0, f"the balance is off by {sum(grams.values())} g"
    assert grams == store.powder.levels(), "the levels are not those of the entries"
    assert grams[DRUM] + grams[BLEND] == -grams[OUTSIDE] == 500_000
    pairs = [e for e in ledger.entries if e.reason.startswith("pair")]
    assert len(pairs) % 2 == 0, "one movement of a pair was kept"
    assert [e.reason for e in pairs[1::2]] == [f"pair of {e.number}" for e in pairs[::2]]
    store.accounts.verify_changes()


def check_acknowledged(world: World, store: Store) -> None:
    """Everything that was acknowledged is there."""
    told = world.acknowledged
    lost = {int(v) for deed in ("save", "write") for v in told.get(deed, ())} - world.seen_plans
    assert not lost, f"plans {lost} were acknowledged and are gone"
    entries = {str(e.number) for e in store.powder.read().ledger.entries}
    assert told.get("book", set()) <= entries, "a booking was acknowledged and is gone"
    uids = {r.uid for r in store.floor.records()}
    rows = {r.number: r.digest for r in store.accounts.changes()}
    for word in told.get("note", ()):
        uid, number, digest = word.split()
        assert uid in uids, f"record {uid} was acknowledged and is gone"
        assert rows[int(number)] == digest, f"row {number} of the record of changes is another one"
    logs = {word[4:] for word in told.get("import", ()) if word.startswith("log ")}
    with closing(sqlite3.connect(world.db)) as link:
        kept = {row[0] for row in link.execute("SELECT by FROM job_log")}
        fits = {row[0] for row in link.execute("SELECT by FROM time_fit")}
    assert logs <= kept & fits, "a job log was acknowledged and is gone"


def check_files(world: World) -> None:
    """Folders of plans, files of the inbox, backups: whole under their names or not there."""
    for version in world.acknowledged.get("write", ()):
        folder = world.folder / f"plan-{int(version):03d}"
        assert (folder / "report.html").read_text() == "report", f"{folder.name} is not whole"
    for folder in world.folder.glob("plan-*"):
        names = {p.name for p in folder.rglob("*")}
        assert {"placements.csv", "B1-traveller.pdf", "handover.pdf", "report.html"} <= names, f"{folder.name} is half"
    for word in world.acknowledged.get("import", ()):
        if not word.startswith("log "):
            tray, name = word.split("/")
            assert (world.folder / "inbox" / tray / "parts" / name).read_bytes() == MESH, f"{name} is not whole"
    for file in (world.folder / "inbox").glob("*/parts/part-*"):
        assert file.stat().st_size == len(MESH), f"{file.name} is half"
    made = {word.split()[0] for word in world.acknowledged.get("backup", ())}
    there = {path.name: path for _, path in backups_in(world.folder / "backups")}
    assert made <= set(there), "a backup was acknowledged and is gone"
    for path in list(there.values())[-3:]:
        check_file(path)


def check_old_databases(world: World, ended: list[Killed]) -> None:
    """Databases whose upgrade was cut off open now, with their rows; then they are removed."""
    words = [word for child in ended if child.deed == "migrate" for word in child.said]
    for name in {word[6:] for word in words if word.startswith("begin ")}:
        with open_store(world.folder / name) as store:
            assert difference(tiny_week().promises, store.load_plan(1).promises) is None, name
            store.accounts.verify_changes()
        check_file(world.folder / name)
    for file in world.folder.glob("old-*"):  # also one whose text was still being read in
        file.unlink()


def torn(world: World, rng: random.Random, folder: Path) -> bool:
    """Cut the write-ahead log of a copy at a random byte, as after a disk that lied: it opens, and holds together.

    The last words may be gone, in order: what is left is a beginning of what was there. False when no log was left.
    """
    log = world.db.with_name(f"{DATABASE}-wal")
    if not log.exists() or not log.stat().st_size:
        return False
    copy = World(folder, set(world.seen_plans))
    folder.mkdir()
    shutil.copy(world.db, copy.db)
    data = log.read_bytes()
    cut = rng.randrange(len(data))
    end = bytes(rng.randrange(256) for _ in range(64)) if rng.random() < 0.5 else b""
    copy.db.with_name(log.name).write_bytes(data[:cut] + end)
    with open_store(copy.db) as store:
        check_store(copy, store)
    check_file(copy.db)
    shutil.rmtree(folder)
    return True
