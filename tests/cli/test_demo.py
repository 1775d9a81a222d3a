"""`cakewright demo`: which invented cell, and where it goes."""

from typer.testing import CliRunner

from cakewright.app.powder_books import look
from cakewright.cli import demo
from cakewright.cli.main import cli
from cakewright.demo import demo_cell, demo_orders
from cakewright.store import open_store


def test_each_cell_is_planned_from_its_own_files(tmp_path, monkeypatch):
    """The large cell gets its own folder, orders, parts of both powders and the past of its powder."""
    asked = []
    monkeypatch.setattr(demo, "run_plan", lambda *given: asked.append(given))
    monkeypatch.chdir(tmp_path)
    answer = CliRunner().invoke(cli, ["demo", "--cell", "b", "--seconds", "3"])
    assert answer.exit_code == 0, answer.output
    orders, cell, parts, out, start, seed, seconds = asked[0]
    assert (out, seed, seconds) == (demo.OUT["b"], 1, 3)
    assert demo_cell("b").name in cell.read_text(encoding="utf-8")
    assert {line.file for line in demo_orders("b").lines} == {place.name for place in parts.iterdir()}
    assert orders.exists() and f"{start:%a %H:%M}" == "Mon 08:00"
    with open_store(out / "cakewright.sqlite") as store:
        assert {can.material for can in look(store).shelf()} >= {"PA12", "PA12-GF"}


def test_an_unknown_cell_is_refused():
    """The message lists those there are."""
    answer = CliRunner().invoke(cli, ["demo", "--cell", "c"])
    assert answer.exit_code == 2
    assert "'a', 'b'" in answer.output


def test_a_quick_look_takes_the_first_lines_and_their_parts(tmp_path, monkeypatch):
    """Three lines: an order list of three, and no part that none of them asks for."""
    asked = []
    monkeypatch.setattr(demo, "run_plan", lambda *given: asked.append(given))
    answer = CliRunner().invoke(cli, ["demo", "--lines", "3", "--out", str(tmp_path)])
    assert answer.exit_code == 0, answer.output
    orders, _, parts = asked[0][:3]
    assert len(orders.read_text(encoding="utf-8").splitlines()) == 4
    assert {line.file for line in demo_orders("a").lines[:3]} == {place.name for place in parts.iterdir()}
