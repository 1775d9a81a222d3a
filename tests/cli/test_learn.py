"""What really happened, told on the command line."""

import pytest
from typer.testing import CliRunner

from cakewright.cli.main import cli
from cakewright.errors import InputError
from cakewright.store import open_store
from tests.documents.world import week
from tests.store.conftest import NOON


@pytest.fixture
def database(tmp_path):
    """A file with one planned week."""
    path = tmp_path / "cakewright.sqlite"
    with open_store(path) as store:
        store.save_plan(week(), made_by="Mira", at=NOON)
    return path


def said(*arguments):
    """What a command prints; its own errors are raised."""
    done = CliRunner().invoke(cli, [str(a) for a in arguments], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.output


def test_a_log_is_kept_and_its_factors_are_told(database, tmp_path):
    """Factors with bounds, the spread, each build's gap, and the strange build by name."""
    path = tmp_path / "log.csv"
    path.write_text("build,start,end\nB1,2027-03-01T08:00,2027-03-02T20:00\nZ9,2027-03-01T08:00,2027-03-01T09:00\n")
    out = said("log", path, "--db", database, "--by", "Mira")
    for words in (
        "Kept 1",
        "Z9",
        "learnt from 1 build\n",
        "recoat",
        "90 % between",
        "spread of actual over predicted",
        "1-B1",
    ):
        assert words in out
    with open_store(database) as store:
        assert len(store.physics.fits("A1")) == 1


def test_shrink_proposes_and_changes_nothing(database, tmp_path):
    """The worked ladder: scale 1.03306, 0.075 mm per face."""
    path = tmp_path / "lengths.csv"
    path.write_text("axis,wanted,measured\nx,10,9.83\nx,50,48.55\nx,100,96.95\nx,150,145.35\n")
    out = said("shrink", path, "--build", "B1", "--db", database)
    assert "1.00000 -> 1.03306" in out
    assert "+0.000 -> -0.075 mm" in out
    assert "Nothing was changed" in out


def test_half_a_place_is_refused(database):
    """A probe's place has three numbers or none."""
    with pytest.raises(InputError, match="all three"):
        said("probe", "B1", "80", "--after-h", "5", "--x", "20", "--db", database)
