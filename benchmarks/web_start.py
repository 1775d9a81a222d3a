"""What the first person of the day waits for: a server that starts, its first page, the same page again.

    .venv/bin/python benchmarks/web_start.py DATABASE [--times 3]

Each row is a server of its own on a copy of the database, asked for its plan 1 in English or German. Medians of
seconds by the clock, and of the processor seconds of the server. The baseline is the same page asked for the second
time.
"""

from __future__ import annotations

import argparse
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

PLACES = ("", "/calendar", "/builds")


def free_port() -> int:
    """A port of this machine that nobody listens at."""
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        return int(door.getsockname()[1])


def used(process: subprocess.Popen[bytes]) -> tuple[float, float]:
    """Processor seconds of a process so far, and its peak memory in MB."""
    stat = Path(f"/proc/{process.pid}/stat").read_text().rpartition(")")[2].split()
    told = Path(f"/proc/{process.pid}/status").read_text().split("VmHWM:")[1].split()[0]
    return (int(stat[11]) + int(stat[12])) / 100.0, int(told) / 1024.0


def fetched(address: str, language: str) -> float:
    """Seconds until a page has arrived."""
    began = time.perf_counter()
    with urllib.request.urlopen(urllib.request.Request(address, headers={"Accept-Language": language})) as answer:
        answer.read()
    return time.perf_counter() - began


def one(database: Path, language: str) -> list[float]:
    """Seconds of one start: until it listens, then (first, again, processor of first) for each place; MB."""
    port, found = free_port(), []
    began = time.perf_counter()
    command = [str(Path(sys.executable).with_name("cakewright")), "serve", "--db", str(database), "--port", str(port)]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL) as server:
        try:
            while True:
                if server.poll() is not None:
                    sys.exit(f"the server ended with {server.returncode}")
                with socket.socket() as knock:
                    if knock.connect_ex(("127.0.0.1", port)) == 0:
                        break
                time.sleep(0.01)
            found.append(time.perf_counter() - began)
            for place in PLACES:
                address = f"http://127.0.0.1:{port}/plans/1{place}"
                before = used(server)[0]
                first = fetched(address, language)
                spent = used(server)[0] - before
                found += [first, fetched(address, language), spent]
            found.append(used(server)[1])
        finally:
            server.terminate()
    return found


def main() -> None:
    """Print the table."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("database", type=Path)
    asked.add_argument("--times", type=int, default=3)
    given = asked.parse_args()
    print(f"{'language':9} {'what':24} {'first s':>8} {'again s':>8} {'ratio':>6} {'processor s':>12} {'MB':>5}")
    for language in ("en", "de"):
        with tempfile.TemporaryDirectory() as folder:
            database = Path(shutil.copy(given.database, folder))
            rows = [one(database, language) for _ in range(given.times)]
        listens, *pages, peak = (statistics.median(column) for column in zip(*rows, strict=True))
        print(f"{language:9} {'start until it listens':24} {listens:8.2f}")
        for n, place in enumerate(PLACES):
            first, again, spent = pages[3 * n : 3 * n + 3]
            name = place or "/ (morning)"
            print(f"{language:9} {name:24} {first:8.3f} {again:8.3f} {first / again:6.1f} {spent:12.2f} {peak:5.0f}")


if __name__ == "__main__":
    main()
