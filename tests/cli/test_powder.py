"""`cakewright powder`: one build from delivery to recall, typed as at the bench."""

import shutil

import pytest
from typer.testing import CliRunner

from cakewright.cli.main import cli
from cakewright.errors import InputError
from cakewright.store import open_store
from tests.app.test_powder import file_store as store
from tests.app.test_powder import plan, stocked

__all__ = ["plan", "stocked", "store"]  # fixtures


@pytest.fixture
def typed(stocked, tmp_path):
    """Run a powder command over a stocked cell at a time after its last entry; what it printed."""
    database = tmp_path / "cell.sqlite"
    shutil.copy(stocked, database)

    def run(*arguments):
        stamp = (
            []
            if arguments[0] in ("stock", "recall", "month", "outlook", "piece", "labels")
            else ["--at", "2027-03-02T09:00:00"]
        )
        name = ["--by", "Mira"] if stamp else []
        result = CliRunner().invoke(cli, ["powder", *arguments, "--db", str(database), *stamp, *name])
        if isinstance(result.exception, Exception):
            raise result.exception
        assert result.exit_code == 0, result.output
        return result.output

    run.database = database
    return run


def test_a_build_from_slip_to_recall(typed, tmp_path):
    """Slip, weighing, charge, break-out, sieve, recall: each command tells what the next one needs."""
    slip = typed("blend", "B1", "--pdf", str(tmp_path / "slip.pdf"))
    assert (tmp_path / "slip.pdf").read_bytes().startswith(b"%PDF")
    assert "V01, V02" in typed("labels", "--out", str(tmp_path / "labels.pdf"))
    weighed = slip.split("blend B1 ")[1].split(" --by")[0].split()
    assert "Blend M01" in typed("blend", "B1", *weighed)
    assert "is in: charge 1/B1" in typed("charge", "B1", "m01")
    said = typed("back", "B1", "--cake", "3.5", "--overflow", "0.4", "--rest", "hoses")
    assert "loose cake: 3.500 kg in C01" in said
    assert "in U03" in typed("sieve", "C01", "--through", "3.45", "--oversize", "0.04", "--cloth", "S1")
    found = typed("recall", "V-7712", "--csv", str(tmp_path / "recall.csv"))
    with open_store(typed.database) as store:
        pieces = store.load_plan(1).build("B1").pieces
    assert f"{pieces} pieces in 1 builds" in found
    assert len((tmp_path / "recall.csv").read_text("utf-8-sig").splitlines()) == pieces + 1
    assert "V-7712" in typed("piece", "L01-01", "--plan", "1")
    assert "not explained" in typed("month", "2027-03")
    assert "kg a week" in typed("outlook", "--plan", "1")
    assert "U03" in typed("stock")


def test_refusals_come_through(typed):
    """The message of the book is the message of the command."""
    with pytest.raises(InputError, match="which holds 14"):
        typed("move", "U01", "U02", "--kg", "20")
    with pytest.raises(InputError, match="use one of: fixed ratio"):
        typed("blend", "B1", "--mode", "by feeling")
    with pytest.raises(InputError, match="the slip asks for"):
        typed("blend", "B1", "--weighed", "U02=1")
