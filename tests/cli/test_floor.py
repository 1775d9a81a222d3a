"""The floor from the command line."""

import pytest
from typer.testing import CliRunner

from cakewright.app import contain
from cakewright.cli.main import cli
from cakewright.errors import InputError
from cakewright.formats.orders_csv import read_orders
from cakewright.formats.orders_write import orders_csv
from cakewright.store import open_store
from tests.app.floor_worlds import NOW, week_with_bars

AT = ["--at", "2027-03-01T08:00:00"]


@pytest.fixture
def db(tmp_path):
    path = tmp_path / "cell.sqlite"
    with open_store(path) as store:
        store.save_plan(week_with_bars(), made_by="Mira", at=NOW)
    return path


def run(db, *words):
    return CliRunner().invoke(cli, ["floor", *map(str, words), "--db", str(db)])


def test_authority_is_entered_and_asked(db):
    """Entered by another person; a step with one name is called a risk; one's own training is refused."""
    assert "Dev may do 'start' until 2027-03-31" in run(db, "trained", "Dev", "start", "--until", "2027-03-31",
                                                        "--by", "Mira", *AT).stdout  # fmt: skip
    said = run(db, "who", *AT).stdout
    assert "start and end a print      Dev   RISK: one name" in said
    assert isinstance(run(db, "trained", "Dev", "start", "--by", "Dev", *AT).exception, InputError)


def test_held_lines_are_listed_and_released(db):
    """The reason, then the name and the reason of who let one go."""
    assert "L01: B1: no limit is entered" in run(db, "held", *AT).stdout
    assert "held lines: L01, L02, L03, L04" in run(db, "due", *AT).stdout
    assert "released by Ada" in run(db, "release", 1, "--reason", "concession", "--by", "Ada", *AT).stdout
    assert "L01:" not in run(db, "held", *AT).stdout


def test_remakes_are_written_behind_the_order_list(db, tmp_path):
    """The list that the next plan reads: the lines as they were, one more; a file is never overwritten."""
    plan = week_with_bars()
    with open_store(db) as store:
        kept = contain.report_mistake(store, plan, "L02-01", what="crack", cause="cold bed", by="Jon", at=NOW)
        contain.decide(store, plan, kept.number, contain.REMAKE, by="Ada", at=NOW)
    old, new = tmp_path / "orders.csv", tmp_path / "next.csv"
    old.write_text(orders_csv(plan.orders.lines), encoding="utf-8")
    assert "L02: 1 to make again, due 2027-03-05" in run(db, "remake", new, "--orders", old).stdout
    assert [x.line for x in read_orders(new, plan.cell).lines] == [1, 2, 3, 4, 5, 6, 7, 8]
    assert "already there" in str(run(db, "remake", new).exception)


def test_the_file_of_a_build_is_exported(db, tmp_path):
    """Both files, and the words that nothing differs from the plan's folder; a strange build is answered."""
    said = CliRunner().invoke(cli, ["export", "B1", "--out", str(tmp_path / "usb"), "--db", str(db)])
    assert "drawn as in the plan's folder" in said.stdout
    assert sorted(p.name for p in (tmp_path / "usb").iterdir()) == ["B1.3mf", "B1.stl"]
    strange = CliRunner().invoke(cli, ["export", "B9", "--db", str(db)])
    assert "no build 'B9'" in str(strange.exception)
