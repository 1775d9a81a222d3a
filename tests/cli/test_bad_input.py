"""What a person gets for a mistake: file, line, remedy, exit code 2, and nothing half-written."""

from __future__ import annotations

import io
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import pytest

from cakewright.app.init_cell import init_cell
from cakewright.cli.main import run
from tests.app.worlds import small_cell, write_order_book


def cakewright(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """Run the command as a person would, to its exit, in this process: a process of its own reads libraries for 3 s."""
    out, err = io.StringIO(), io.StringIO()
    command = ["cakewright", *map(str, arguments)]
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(out), redirect_stderr(err):
        patch.setattr(sys, "argv", command)
        with pytest.raises(SystemExit) as ended:  # anything else would be a traceback for the person
            run()
    return subprocess.CompletedProcess(command, int(ended.value.code or 0), out.getvalue(), err.getvalue())


def process(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """The same in a process of its own."""
    command = [sys.executable, "-m", "cakewright.cli.main", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    """A folder with a cell file, an order list and parts, all good."""
    cell = init_cell(tmp_path / "cell.toml")
    assert cell.exists()
    write_order_book(tmp_path, small_cell())
    return tmp_path


def plan(desk: Path, by=cakewright) -> subprocess.CompletedProcess[str]:
    return by(
        "plan", desk / "orders.csv", "--cell", desk / "cell.toml", "--parts", desk / "parts", "--out", desk / "out",
        "--start", "2027-03-01T08:00", "--seconds", "0.2",
    )  # fmt: skip


def refused(desk: Path, *words: str, by=cakewright) -> None:
    """The plan command refuses with exit code 2, says every word, and leaves no results."""
    done = plan(desk, by)
    assert done.returncode == 2, done.stdout + done.stderr
    for word in words:
        assert word in done.stderr, f"{word!r} not in: {done.stderr}"
    assert "Traceback" not in done.stderr
    assert not (desk / "out").exists()


def rewrite(desk: Path, old: str, new: str) -> None:
    book = desk / "orders.csv"
    text = book.read_text(encoding="utf-8")
    assert old in text
    book.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_missing_column(desk):
    rewrite(desk, ",due,", ",wanted,")
    refused(desk, "orders.csv", "due", by=process)


def test_unknown_material(desk):
    rewrite(desk, f",{small_cell().materials[0].name},", ",Unobtanium,")
    refused(desk, "orders.csv", "line 2", "Unobtanium", small_cell().materials[0].name)


def test_negative_quantity(desk):
    rewrite(desk, ",brick,A,6,", ",brick,A,-6,")
    refused(desk, "orders.csv", "line 2", "-6")


def test_no_such_cell_file(desk):
    (desk / "cell.toml").unlink()
    refused(desk, "cell.toml", "cakewright init")


def test_impossible_calendar(desk):
    """A person whose shift ends before it begins can do nothing: the cell file is refused, naming the person."""
    cell = desk / "cell.toml"
    lines = cell.read_text(encoding="utf-8").splitlines()
    starts = [i for i, text in enumerate(lines) if text.startswith("start = ") and ":" in text]
    assert starts, "the template has no shift to break"
    lines[starts[0]] = 'start = "23:30"'
    cell.write_text("\n".join(lines), encoding="utf-8")
    refused(desk, "cell.toml", "shift")


def test_unreadable_mesh_alone(desk):
    for file in (desk / "parts").iterdir():
        file.write_bytes(b"solid nothing\n")
    refused(desk, "line 1", "brick")


def test_part_larger_than_the_chamber_is_set_aside_and_the_rest_planned(desk):
    """The oversize line is named with its size and a remedy; the other two lines get their plan."""
    from cakewright.formats.stl import write_stl
    from tests.conftest import box_mesh

    write_stl(desk / "parts" / "plate.stl", box_mesh(900, 700, 4), "plate")
    done = plan(desk)
    assert done.returncode == 2
    for word in ("set aside: orders.csv, line 3", "plate.stl", "larger than chamber", "->"):
        assert word in done.stderr
    assert "Set aside" in done.stdout
    assert (desk / "out" / "plan-001" / "report.html").exists()


def test_init_never_overwrites(desk):
    before = (desk / "cell.toml").read_bytes()
    done = cakewright("init", desk / "cell.toml")
    assert done.returncode == 2
    assert "already there" in done.stderr
    assert (desk / "cell.toml").read_bytes() == before


def test_check_says_what_is_wrong_and_exits_2(desk):
    (desk / "parts" / "brick.stl").write_bytes(b"\x00" * 90)
    done = cakewright("check", desk / "parts")
    assert done.returncode == 2
    assert "brick.stl" in done.stdout and "cube.stl" in done.stdout


def test_quote_gives_a_range_and_a_date(desk):
    done = cakewright("quote", desk / "parts" / "brick.stl", "--cell", desk / "cell.toml", "-n", "20",
                      "--start", "2027-03-01T08:00")  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "likely" in done.stdout and "2027-03" in done.stdout and "Each, in builds of its own" in done.stdout


def test_a_quote_is_kept_listed_and_ordered(desk):
    """Against a plan and into its database; the sheet is written once and never over another."""
    assert plan(desk).returncode == 0
    db, sheet = desk / "out" / "cakewright.sqlite", desk / "quote.pdf"
    told = ("quote", desk / "parts" / "brick.stl", "--cell", desk / "cell.toml", "--db", db, "--sheet", sheet,
            "--start", "2027-03-01T06:00", "--customer", "Team")  # fmt: skip
    done = cakewright(*told)
    assert done.returncode == 0, done.stderr
    assert "Q0001" in done.stdout and sheet.read_bytes().startswith(b"%PDF")
    assert "already there" in cakewright(*told).stderr
    assert "Q0001" in cakewright("quotes", "list", "--db", db).stdout
    assert cakewright("quotes", "accept", "9", "--db", db).returncode == 2
    assert cakewright("quotes", "list", "--db", desk / "none.sqlite").returncode == 2
