"""The first thing a newcomer types."""

from __future__ import annotations

import subprocess
import sys

MOST_MODULES = 400  # loaded for the help: counted, since seconds depend on what else the machine does


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "cakewright.cli.main", *arguments]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_help_lists_the_commands_in_the_order_of_the_job():
    text = run("--help").stdout
    places = [text.index(f"│ {name} ") for name in ("init", "check", "quote", "plan", "serve", "demo")]
    assert places == sorted(places)


def test_help_stays_quick():
    """Help imports none of the heavy libraries and few modules, so it comes at once (0.2 s on a quiet machine)."""
    probe = (
        "import sys; sys.argv=['cakewright','--help']\n"
        "from cakewright.cli.main import run\n"
        "try:\n    run()\nexcept SystemExit:\n    pass\n"
        "heavy={'numpy','numba','scipy','trimesh','ortools','sqlalchemy','fastapi','manifold3d'}\n"
        "print(sorted(heavy & set(sys.modules)), len(sys.modules), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    found, count = done.stderr.strip().rsplit(" ", 1)
    assert found == "[]"
    assert int(count) < MOST_MODULES


def test_version():
    from cakewright import __version__

    assert run("--version").stdout.strip() == f"cakewright {__version__}"
