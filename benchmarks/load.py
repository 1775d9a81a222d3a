"""Fifty people at once on a store of 100,000 pieces and 1,000 builds, over the loopback only.

    PYTHONPATH=. python benchmarks/load.py --weeks 100 --users 50 --seconds 60 --think 3

First one person opens every page in turn and the processor time of the server is read for each answer; then `users`
people read and write at once, each resting `think` seconds on average between two deeds, and the time on the clock is
taken. The people are threads of this program and share the processors with the server. Ends by itself.
"""

from __future__ import annotations

import argparse
import http.client
import os
import random
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections import defaultdict
from pathlib import Path
from urllib.parse import urlencode

import numpy as np
from generated_store import BUILDS, LINES_EACH, PIECES_EACH, fill

GOOD = (200, 201, 303)
PAGES = {  # how often out of a hundred deeds, address below the plan
    "morning": (14, ""), "lines": (8, "/lines"), "one line": (8, "/lines/{line}"), "builds": (5, "/builds"),
    "one build": (7, "/builds/{build}"), "unpack": (9, "/builds/{build}/unpack?by=Jon"),
    "run": (6, "/builds/{build}/run?by=Jon"), "heat": (2, "/builds/{build}/heat"), "calendar": (5, "/calendar"),
    "happened": (3, "/happened?by=Jon"), "baskets": (3, "/baskets?by=Ada"), "papers": (1, "/papers"),
    "inspect": (3, "/lines/{line}/inspect?by=Ada"), "charts": (1, "/charts"), "wrong": (1, "/wrong"),
    "numbers": (1, "/numbers"), "powder of the plan": (1, "/powder"),
}  # fmt: skip
OTHERS = {"all plans": (1, "/plans"), "powder shelf": (2, "/powder"), "recall": (1, "/powder/recall?lot=V-7712"),
          "promises kept": (1, "/promises"), "quotes": (1, "/quotes"), "inbox": (1, "/inbox")}  # fmt: skip
INTERFACE = {"interface: morning": (1, "/morning"), "interface: lines": (1, "/lines"),
             "interface: cut": (2, "/builds/{build}/cut?z_mm=40")}  # fmt: skip
WRITES = {"a piece is found": 6, "a check is done": 3, "a value is measured": 2}


class Server:
    """`cakewright serve` in a process of its own."""

    def __init__(self, database: Path) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        command = [
            sys.executable,
            "-m",
            "cakewright.cli.main",
            "serve",
            "--db",
            str(database),
            "--port",
            str(self.port),
        ]
        self.process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        end = time.monotonic() + 120
        while True:
            try:
                Person(self.port, 0).ask("GET", "/api/v1/health")
                return
            except OSError:
                if time.monotonic() > end or self.process.poll() is not None:
                    raise
                time.sleep(0.2)

    def processor_ms(self) -> float:
        """Processor time used so far by all its threads, those that have ended too."""
        return time.clock_gettime_ns((~self.process.pid << 3) | 2) / 1e6  # Linux: clock_getcpuclockid(3) of a process

    def peak_mb(self) -> float:
        """The most memory it has held."""
        text = Path(f"/proc/{self.process.pid}/status").read_text()
        return int(text.split("VmHWM:")[1].split()[0]) / 1024

    def stop(self) -> None:
        """Let it end."""
        self.process.terminate()
        self.process.wait(30)


class Person:
    """One person with a connection that stays open."""

    def __init__(self, port: int, seed: int, newest: int = 1) -> None:
        self.line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        self.dice = random.Random(seed)
        self.newest = newest

    def ask(self, method: str, address: str, form: dict[str, str] | None = None) -> int:
        """One question; the status. The whole answer is read."""
        body = urlencode(form) if form else None
        headers = {"content-type": "application/x-www-form-urlencoded"} if form else {}
        for last_try in (False, True):
            try:
                self.line.request(method, address, body, headers)
                answer = self.line.getresponse()
                answer.read()
                return answer.status
            except (ConnectionResetError, http.client.RemoteDisconnected):  # the server closes what rested too long
                self.line.close()
                if last_try:
                    raise
        raise AssertionError("unreachable")

    def filled(self, below: str) -> str:
        """An address with a build and a line of the dice."""
        return below.format(build=f"B{self.dice.randint(1, BUILDS)}", line=self.dice.randint(1, BUILDS * LINES_EACH))

    def deed(self, name: str) -> int:
        """Do one thing by name."""
        version = self.newest if self.dice.random() < 0.9 else max(1, self.newest - self.dice.randint(1, 2))
        if name in PAGES:
            return self.ask("GET", f"/plans/{version}{self.filled(PAGES[name][1])}")
        if name in OTHERS:
            return self.ask("GET", OTHERS[name][1])
        if name in INTERFACE:
            return self.ask("GET", f"/api/v1/plans/{version}{self.filled(INTERFACE[name][1])}")
        build = self.dice.randint(1, BUILDS)
        line = (build - 1) * LINES_EACH + self.dice.randint(1, LINES_EACH)
        piece = f"L{line:02d}-{self.dice.randint(1, PIECES_EACH):02d}"
        base = f"/plans/{self.newest}"
        if name == "a piece is found":
            return self.ask("POST", f"{base}/builds/B{build}/unpack", {"piece": piece, "state": "found", "by": "Jon"})
        if name == "a check is done":
            return self.ask("POST", f"{base}/builds/B{build}/run/check",
                            {"by": "Jon", "check": f"c{self.dice.randint(1, 10):02d}"})  # fmt: skip
        return self.ask("POST", f"{base}/lines/{line}/inspect",
                        {"piece": piece, "name": "width", "value": "20.02", "low": "19.8", "high": "20.2", "by": "Ada",
                         "gauge": ""})  # fmt: skip


def weights() -> dict[str, int]:
    """How often each deed is done, out of about a hundred."""
    return {**{k: w for kinds in (PAGES, OTHERS, INTERFACE) for k, (w, _) in kinds.items()}, **WRITES}


def one_by_one(server: Server, newest: int, times: int) -> dict[str, list[float]]:
    """Processor time of the server for each deed, one person alone; the first of each counts too."""
    person = Person(server.port, 1, newest)
    spent: dict[str, list[float]] = defaultdict(list)
    for name in weights():
        for _ in range(times):
            before = server.processor_ms()
            status = person.deed(name)
            if status not in GOOD:
                print(f"WRONG: {name} was answered with {status}")
            spent[name].append(server.processor_ms() - before)
    return spent


def all_at_once(server: Server, newest: int, users: int, seconds: float, think: float) -> dict[str, list[float]]:
    """Milliseconds on the clock for each deed of `users` people."""
    names, often = list(weights()), list(weights().values())
    took: dict[str, list[float]] = defaultdict(list)
    wrong: list[str] = []
    end = time.monotonic() + seconds

    def live(seed: int) -> None:
        person = Person(server.port, seed, newest)
        time.sleep(person.dice.uniform(0, think))
        while time.monotonic() < end:
            name = person.dice.choices(names, often)[0]
            begin = time.perf_counter()
            status = person.deed(name)
            took[name].append((time.perf_counter() - begin) * 1000)
            if status not in GOOD:
                wrong.append(f"{name}: {status}")
            time.sleep(person.dice.uniform(0.5 * think, 1.5 * think))

    people = [threading.Thread(target=live, args=(seed,)) for seed in range(users)]
    for one in people:
        one.start()
    for one in people:
        one.join()
    if wrong:
        print(f"WRONG: {len(wrong)} answers, first: {wrong[:5]}")
    return took


def main() -> int:
    """Fill, serve, ask, print."""
    ask = argparse.ArgumentParser()
    ask.add_argument("--weeks", type=int, default=100)
    ask.add_argument("--users", type=int, default=50)
    ask.add_argument("--seconds", type=float, default=60)
    ask.add_argument("--think", type=float, default=3.0)
    ask.add_argument("--times", type=int, default=8)
    ask.add_argument("--keep", type=Path, help="Use this database again, or leave it here.")
    given = ask.parse_args()
    with tempfile.TemporaryDirectory() as work:
        database = given.keep or Path(work) / "cell.sqlite"
        if not database.exists():
            fill(database, given.weeks)
        builds, pieces = given.weeks * BUILDS, given.weeks * BUILDS * LINES_EACH * PIECES_EACH
        print(f"{given.weeks} plans, {builds:,} builds, {pieces:,} pieces, {database.stat().st_size / 1e6:.0f} MB")
        server = Server(database)
        try:
            alone = one_by_one(server, given.weeks, given.times)
            load = [f"{x:.1f}" for x in os.getloadavg()]
            before, begin = server.processor_ms(), time.monotonic()
            took = all_at_once(server, given.weeks, given.users, given.seconds, given.think)
            wall = time.monotonic() - begin
            share = (server.processor_ms() - before) / 1000 / wall
            report(alone, took, given.users)
            print(f"\n{sum(map(len, took.values()))} deeds in {wall:.0f} s by {given.users} people; the server used "
                  f"{share:.2f} of {os.cpu_count()} processors; at most {server.peak_mb():.0f} MB; load average before "
                  f"{', '.join(load)}")  # fmt: skip
        finally:
            server.stop()
    return 0


def report(alone: dict[str, list[float]], took: dict[str, list[float]], users: int) -> None:
    """The table: processor time alone, clock time together."""
    print(f"\n| deed | processor ms alone: median | first | {users} at once, ms: p50 | p95 | max | n |")
    print("|---|---|---|---|---|---|---|")
    for name in weights():
        many = took.get(name) or [float("nan")]
        p50, p95 = np.percentile(many, [50, 95])
        print(f"| {name} | {np.median(alone[name]):.0f} | {alone[name][0]:.0f} | {p50:.0f} | {p95:.0f} | "
              f"{max(many):.0f} | {len(took.get(name, []))} |")  # fmt: skip
    for kind, names in (("pages", [*PAGES, *OTHERS]), ("interface", [*INTERFACE]), ("writes", [*WRITES])):
        every = [x for name in names for x in took.get(name, [])] or [float("nan")]
        p50, p95 = np.percentile(every, [50, 95])
        print(f"| **all {kind}** | | | {p50:.0f} | **{p95:.0f}** | {max(every):.0f} | {len(every)} |")


if __name__ == "__main__":
    sys.exit(main())
