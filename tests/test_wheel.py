"""What is installed from a wheel is whole: pages, styles, fonts, migrations, the cell file to fill in."""

import os
import shutil
import subprocess
import sys
import sysconfig
import tarfile
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


def build(source, kind, out):
    """One distribution of a source tree, built without the network."""
    command = [sys.executable, "-m", "hatchling", "build", "-t", kind, "-d", str(out)]
    subprocess.run(command, cwd=source, check=True, capture_output=True)
    return next(out.glob({"wheel": "*.whl", "sdist": "*.tar.gz"}[kind]))


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    """A wheel built from the sdist of this source, as somebody does who has no repository."""
    out = tmp_path_factory.mktemp("built")
    with tarfile.open(build(ROOT, "sdist", out)) as archive:
        archive.extractall(out / "unpacked", filter="data")
    (source,) = (out / "unpacked").iterdir()
    return build(source, "wheel", out)


@pytest.fixture(scope="module")
def program(wheel, tmp_path_factory):
    """The command as pip installs it into an empty environment; the dependencies are those of this one."""
    place = tmp_path_factory.mktemp("empty") / "env"
    venv.create(place, with_pip=True)
    scripts = place / ("Scripts" if os.name == "nt" else "bin")
    install = [scripts / "python", "-m", "pip", "install", "--no-index", "--no-deps", "--quiet", wheel]
    subprocess.run(install, check=True, capture_output=True)
    (package,) = place.rglob("site-packages/cakewright")
    take_machine_code(ROOT / "src" / "cakewright", package)
    return scripts / "cakewright"


def take_machine_code(source, package):
    """What was compiled for the same files in this source is not compiled again: that takes minutes, and is not asked.

    The compiler takes code from its store when the moment and size of a file agree; the content is compared here.
    """
    for installed in package.rglob("*.py"):
        file = source / installed.relative_to(package)
        if file.read_bytes() == installed.read_bytes():
            moments = file.stat()
            os.utime(installed, ns=(moments.st_atime_ns, moments.st_mtime_ns))
            for code in (file.parent / "__pycache__").glob(f"{file.stem}.*.nb?"):
                (installed.parent / "__pycache__").mkdir(exist_ok=True)
                shutil.copy2(code, installed.parent / "__pycache__" / code.name)


def ask(program, folder, *words):
    """What the installed command says in a folder without any source."""
    env = {**os.environ, "PYTHONPATH": sysconfig.get_path("purelib")}  # what it needs, not this source
    done = subprocess.run([program, *map(str, words)], check=False, cwd=folder, env=env, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_every_file_of_the_package_is_in_the_wheel(wheel):
    """A template, font or migration that stays behind is missed only by the one who installs it."""
    with zipfile.ZipFile(wheel) as archive:
        there = set(archive.namelist())
    listed = subprocess.run(["git", "ls-files", "src"], cwd=ROOT, check=True, capture_output=True, text=True)
    wanted = [name.removeprefix("src/") for name in listed.stdout.split("\n") if name]
    assert len(wanted) > 300
    assert [name for name in wanted if name not in there] == []


def test_the_installed_program_is_not_this_source(program, tmp_path):
    """In the empty environment the package lies in the environment; the version and a cell file to fill in come."""
    python = program.parent / "python"
    env = {**os.environ, "PYTHONPATH": sysconfig.get_path("purelib")}
    asked = [python, "-c", "import cakewright; print(cakewright.__file__)"]
    where = subprocess.run(asked, check=True, cwd=tmp_path, env=env, capture_output=True, text=True).stdout
    assert str(program.parent.parent) in where
    ask(program, tmp_path, "--version")
    ask(program, tmp_path, "init", tmp_path / "cell.toml")
    assert "[cell]" in (tmp_path / "cell.toml").read_text(encoding="utf-8")


def test_the_installed_program_runs_the_demo(program, tmp_path):
    """Two order lines of the invented cell become a planned week with papers and files for the machine."""
    ask(program, tmp_path, "demo", "--lines", 2, "--seconds", 0.2)
    plan = tmp_path / "demo-out" / "plan-001"
    assert {p.name for p in (tmp_path / "demo-out" / "files" / "parts").iterdir()} == {
        "hinge-mock-up-left_B.stl",
        "hinge-mock-up-right_B.stl",
    }
    for name in ("report.html", "schedule.csv", "builds/B1.3mf", "papers/B1-traveller.pdf", "papers/handover.pdf"):
        assert (plan / name).stat().st_size > 500, name
    assert "Wrote" in ask(program, tmp_path, "export", "B1", "--db", "demo-out/cakewright.sqlite", "--out", "usb")
