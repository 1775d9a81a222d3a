"""What is installed from a wheel is whole: pages, styles, fonts, migrations, the cell file to fill in."""

import os
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    """A wheel of this source, built without the network."""
    out = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(out)]
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    return next(out.glob("*.whl"))


def test_every_file_of_the_package_is_in_the_wheel(wheel):
    """A template, font or migration that stays behind is missed only by the one who installs it."""
    with zipfile.ZipFile(wheel) as archive:
        there = set(archive.namelist())
    listed = subprocess.run(["git", "ls-files", "src"], cwd=ROOT, check=True, capture_output=True, text=True)
    wanted = [name.removeprefix("src/") for name in listed.stdout.split("\n") if name]
    assert len(wanted) > 300
    assert [name for name in wanted if name not in there] == []


def test_the_wheel_runs_where_there_is_no_source(wheel, tmp_path):
    """In an empty environment that sees only the dependencies: the version, and a cell file to fill in."""
    venv.create(tmp_path / "env", with_pip=False)
    python = tmp_path / "env" / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    site = tmp_path / "site"
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(site)
    path = os.pathsep.join([str(site), sysconfig.get_path("purelib")])
    env = {**os.environ, "PYTHONPATH": path}
    run = "import sys, cakewright; from cakewright.cli.main import run; print(cakewright.__file__); run()"
    for asked in (["--version"], ["init", str(tmp_path / "cell.toml")]):
        done = subprocess.run(
            [python, "-c", run, *asked], check=False, cwd=tmp_path, env=env, capture_output=True, text=True
        )
        assert done.returncode == 0, done.stderr
        assert str(site) in done.stdout
    assert "[cell]" in (tmp_path / "cell.toml").read_text(encoding="utf-8")
