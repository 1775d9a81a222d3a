"""A relative --out or --db is seen from where the command is given, once."""

from typer.testing import CliRunner

from cakewright.app.init_cell import template_cell
from cakewright.cli.main import cli
from tests.app.worlds import write_order_book


def plan(*more):
    """Plan the small order book with hardly any search."""
    given = ["plan", "orders.csv", "--cell", "cell.toml", "--parts", "parts", "--start", "2027-03-01T08:00",
             "--seconds", "0", *more]  # fmt: skip
    return CliRunner().invoke(cli, given)


def test_relative_places(tmp_path, monkeypatch):
    """`--out plans` keeps plans/cakewright.sqlite, not plans/plans/...; `--db other.sqlite` lies here."""
    monkeypatch.chdir(tmp_path)
    assert CliRunner().invoke(cli, ["init", "cell.toml"]).exit_code == 0
    write_order_book(tmp_path, template_cell())
    first = plan("--out", "plans")
    assert first.exit_code == 0, first.output
    assert (tmp_path / "plans" / "cakewright.sqlite").is_file()
    assert (tmp_path / "plans" / "plan-001" / "report.html").is_file()
    second = plan("--out", "elsewhere", "--db", "other.sqlite")
    assert second.exit_code == 0, second.output
    assert (tmp_path / "elsewhere" / "plan-001").is_dir()
    assert (tmp_path / "other.sqlite").is_file()
