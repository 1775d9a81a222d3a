#!/usr/bin/env python3
"""Every chore of the project, with nothing but Python 3.11+: `python3 scripts/do.py TASK`.

setup   make .venv and install the locked dependencies
demo    plan the invented demo week into demo-out/
test    format, lint, types and the whole test suite (what CI runs)
lint    format, lint and types only
docs    build the documentation with warnings as errors
serve   open the planned demo week in the web application
audit   ask the public list of known weaknesses about the locked packages
lock    resolve the dependencies again and write requirements/*.lock
clean   remove .venv and everything generated
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
BIN = VENV / ("Scripts" if os.name == "nt" else "bin")
PYTHON = BIN / "python"
STAMP = VENV / "installed.txt"
CORE_LOCK = ROOT / "requirements" / "core.lock"
DEV_LOCK = ROOT / "requirements" / "dev.lock"
RESULTS = ROOT / ".test-results" / "tests.xml"


def say(text: str) -> None:
    print(f"-- {text}", flush=True)


def fail(text: str) -> None:
    sys.exit(f"do.py: {text}")


def run(*command: str | Path, env: dict[str, str] | None = None) -> None:
    done = subprocess.run([str(c) for c in command], cwd=ROOT, check=False, env=env)
    if done.returncode:
        sys.exit(done.returncode)


def apt_install(*packages: str, why: str) -> None:
    """Install Debian packages, or say plainly what is missing."""
    apt = shutil.which("apt-get")
    names = " ".join(packages)
    if apt is None or (hasattr(os, "geteuid") and os.geteuid() != 0):
        fail(f"{why} needs the system packages: {names}. On Debian: sudo apt-get install {names}; then run again.")
    say(f"installing {names} ({why})")
    quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    subprocess.run([str(apt), "update", "-qq"], check=False, env=quiet)
    run(str(apt), "install", "-y", "-qq", *packages, env=quiet)


def make_venv() -> None:
    if PYTHON.exists():
        return
    if sys.version_info < (3, 11):
        fail(f"Python {sys.version.split()[0]} found, 3.11 or newer needed. Run: python3.11 scripts/do.py setup")
    say("making .venv")
    try:
        import ensurepip  # noqa: F401
    except ModuleNotFoundError:
        apt_install("python3-venv", why="making a virtual environment")
    run(sys.executable, "-m", "venv", VENV)


def setup(*, dev: bool) -> None:
    """Install the locked dependencies when the lock, or the wish for development tools, has changed."""
    make_venv()
    lock = DEV_LOCK if dev else CORE_LOCK
    want = hashlib.sha256(
        DEV_LOCK.read_bytes() + CORE_LOCK.read_bytes() + (ROOT / "pyproject.toml").read_bytes()
    ).hexdigest()
    have = STAMP.read_text().split() if STAMP.exists() else []
    if have and have[0] == want and (not dev or "dev" in have):
        return
    say(f"installing the locked dependencies ({lock.name}); about {'1.3 GB' if dev else '900 MB'}, once")
    uv = shutil.which("uv")
    if uv:
        run(uv, "pip", "install", "--python", PYTHON, "--require-hashes", "-r", lock)
        run(uv, "pip", "install", "--python", PYTHON, "--no-deps", "-e", ".")
    else:
        run(
            PYTHON,
            "-m",
            "pip",
            "install",
            "-q",
            "--disable-pip-version-check",
            "--require-hashes",
            "-r",
            lock,
        )
        run(PYTHON, "-m", "pip", "install", "-q", "--disable-pip-version-check", "--no-deps", "-e", ".")
    STAMP.write_text(f"{want} {'dev' if dev else ''}")
    say("compiling the scheduler once, about a minute")
    run(PYTHON, "-c", "from cakewright.schedule.warm import warm; warm()")


def demo() -> None:
    setup(dev=False)
    run(BIN / "cakewright", "demo", "--out", "demo-out")


def serve() -> None:
    setup(dev=False)
    if not (ROOT / "demo-out" / "cakewright.sqlite").exists():
        demo()
    run(BIN / "cakewright", "serve", "--db", "demo-out/cakewright.sqlite")


def lint() -> None:
    setup(dev=True)
    run(BIN / "ruff", "format", "--check", ".")
    run(BIN / "ruff", "check", ".")
    run(BIN / "mypy")


def test() -> None:
    lint()
    if shutil.which("chromium") is None:
        apt_install("chromium", why="looking at the pages in the tests")
    if shutil.which("initdb") is None and not list(Path("/usr/lib/postgresql").glob("*/bin/initdb")):
        apt_install("postgresql", why="running the tests of the store on a server too")
    cores = str(min(os.cpu_count() or 1, 8))
    spread = ("-n", cores, "--dist", "loadfile", "--no-loadscope-reorder")  # tests/conftest.py has the order
    run(PYTHON, "-m", "pytest", *spread, f"--junitxml={RESULTS}", *sys.argv[2:])
    run(PYTHON, "-m", "mkdocs", "build", "--strict", "--quiet")  # its page of checks is made from this run


def docs() -> None:
    setup(dev=True)
    run(PYTHON, "-m", "mkdocs", "build", "--strict")


def lock() -> None:
    """Resolve again with uv (installed into the virtual environment when it is not on the path)."""
    setup(dev=True)
    uv = shutil.which("uv")
    if uv is None:
        run(PYTHON, "-m", "pip", "install", "-q", "uv")
        uv = str(BIN / "uv")
    common = (uv, "pip", "compile", "pyproject.toml", "--universal", "--python-version", "3.11", "--generate-hashes",
              "--no-header", "--no-emit-index-url", "--upgrade", "-q")  # fmt: skip
    run(*common, "-o", CORE_LOCK)
    extras = ("--extra", "postgres", "--extra", "cluster")  # optional for people, tested by us
    run(*common, "--group", "dev", "--group", "docs", *extras, "-c", CORE_LOCK, "-o", DEV_LOCK)


def audit() -> None:
    """Ask the public list of known weaknesses about the locked packages; without the network say so and go on.

    pip-audit lives in an environment of its own (.audit), so that it is no part of what it judges.
    """
    home = ROOT / ".audit"
    tool = home / ("Scripts" if os.name == "nt" else "bin") / "pip-audit"
    if not tool.exists():
        run(sys.executable, "-m", "venv", home)
        pip = (tool.parent / "python", "-m", "pip", "install", "-q", "--disable-pip-version-check", "--timeout", "15")
        if subprocess.run([str(p) for p in (*pip, "pip-audit>=2.7")], check=False).returncode:
            say("AUDIT NOT DONE: pip-audit cannot be fetched (no network?). Nothing is known about new weaknesses.")
            return
    report = home / "report.json"
    report.unlink(missing_ok=True)
    command = (tool, "-r", CORE_LOCK, "--require-hashes", "--disable-pip", "--no-deps", "--progress-spinner", "off",
               "--timeout", "15", "-f", "json", "-o", report)  # fmt: skip
    done = subprocess.run([str(c) for c in command], cwd=ROOT, check=False, capture_output=True, text=True)
    if not report.exists() or not report.stat().st_size:
        say("AUDIT NOT DONE: the list of known weaknesses cannot be reached. Nothing is known about new weaknesses.")
        say((done.stderr.strip().splitlines() or ["no word"])[-1][:300])
        return
    packages = json.loads(report.read_text(encoding="utf-8"))["dependencies"]
    bad = [(p["name"], p["version"], v) for p in packages for v in p.get("vulns", ())]
    asked = [p for p in packages if "skip_reason" not in p]
    for name, version, v in bad:
        say(f"{name} {version}: {v['id']}, mended in {', '.join(v['fix_versions']) or 'no version yet'}")
    if len(asked) < len(packages):
        say(f"AUDIT NOT DONE for {len(packages) - len(asked)} packages: the list does not answer about them here.")
    say(f"{len(asked)} of {len(packages)} locked packages asked about, {len(bad)} known weaknesses")
    if bad:
        fail("a locked package has a known weakness: `do.py lock` takes newer ones, or say in SECURITY.md why it stays")


def clean() -> None:
    for name in (
        ".venv",
        ".audit",
        "demo-out",
        "site",
        "dist",
        ".pytest_cache",
        ".mypy_cache",
        ".ruff_cache",
        ".hypothesis",
        ".test-results",
    ):
        shutil.rmtree(ROOT / name, ignore_errors=True)
    for cache in (ROOT / "src").rglob("__pycache__"):
        shutil.rmtree(cache, ignore_errors=True)


TASKS = {"setup": lambda: setup(dev=False), "demo": demo, "serve": serve, "lint": lint, "test": test, "docs": docs,
         "lock": lock, "audit": audit, "clean": clean}  # fmt: skip

if __name__ == "__main__":
    task = sys.argv[1] if len(sys.argv) > 1 else "--help"
    if task in ("-h", "--help"):
        print(__doc__)
    elif task in TASKS:
        TASKS[task]()
    else:
        fail(f"no task {task!r}; there are: {', '.join(TASKS)}")
