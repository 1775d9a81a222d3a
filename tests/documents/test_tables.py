"""CSV files: complete, exact, and harmless in a spreadsheet."""

import csv
import io

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cakewright.documents.tables import placements_csv, powder_csv, quotes_csv, schedule_csv, text


def rows(table: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(table, newline="")))


def test_each_placed_piece_has_a_row_that_puts_it_back(plan):
    """Rotation, translation and box of a row agree with the mesh of the part."""
    table = rows(placements_csv(plan))
    assert len(table) == sum(b.pieces for b in plan.builds)
    for row in table:
        mesh = plan.parts[plan.part_of_line[int(row["line"])]].mesh
        turn = np.array([[float(row[f"r{i}{j}"]) for j in (1, 2, 3)] for i in (1, 2, 3)])
        move = np.array([float(row[f"t{a}_mm"]) for a in "xyz"])
        box = mesh.placed(turn, move).box_mm
        low = [float(row[f"box_{a}_min_mm"]) for a in "xyz"]
        high = [float(row[f"box_{a}_max_mm"]) for a in "xyz"]
        assert np.allclose(box, [low, high], atol=1e-3)
        assert row["sha256"] == mesh.sha256


def test_rows_come_in_the_order_of_removal_and_stuck_ones_last(plan):
    table = [r for r in rows(placements_csv(plan)) if r["build"] == "B2"]
    assert [r["removal_position"] for r in table] == ["1", "2", "3", "4", "5", "", ""]
    assert {r["piece"]: r["stuck_with"] for r in table[-2:]} == {"L04-01": "L04-02", "L04-02": "L04-01"}
    first = {r["piece"]: r for r in rows(placements_csv(plan)) if r["build"] == "B1"}
    assert first["L01-04"]["leave_after"] == "L03-01 L03-02"


def test_schedule_shows_utc_and_local_time(plan):
    first = rows(schedule_csv(plan))[0]
    assert first["start_utc"] == "2027-03-01T07:00+00:00"
    assert first["start_local"] == "2027-03-01T08:00+01:00"
    assert (first["task"], first["minutes"], first["people"], first["lines"]) == (
        "load and check",
        "30",
        "Dev",
        "1 2 3 5",
    )


def test_powder_rows_balance(plan):
    for row in rows(powder_csv(plan)):
        assert float(row["virgin_kg"]) + float(row["used_kg"]) == pytest.approx(float(row["charge_kg"]), abs=1e-3)


def test_quotes_list_every_line_with_its_state(plan):
    table = {int(r["line"]): r for r in rows(quotes_csv(plan))}
    assert {n: r["state"] for n, r in table.items()} == {
        1: "on time", 2: "on time", 3: "on time", 4: "late", 5: "late", 6: "late", 7: "set aside",
    }  # fmt: skip
    assert table[7]["total"] == "" and table[7]["reason"] == "the mesh file cover.stl is missing"
    assert float(table[2]["total"]) == pytest.approx(44.9)
    assert float(table[2]["per_piece"]) == pytest.approx(44.9 / 6, abs=0.005)


def test_part_name_that_is_a_formula_is_defused(plan):
    """The ring is called '=ring(1)': a spreadsheet shows it instead of computing it."""
    assert {r["part"] for r in rows(quotes_csv(plan)) if r["line"] == "4"} == {"'=ring(1)"}


@given(st.text())
def test_no_text_cell_starts_a_formula(value):
    cell = text(value)
    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r"))
    assert cell.removeprefix("'") == value.removeprefix("'") or cell == value


def test_negative_numbers_stay_numbers():
    assert text(-1.5) == "-1.5"
    assert text("-1.5") == "'-1.5"


def test_columns_are_documented(docs_of_files):
    """Each column of each table is described in the reference."""
    from cakewright.documents import tables

    for columns in (tables.PLACEMENTS, tables.SCHEDULE, tables.POWDER, tables.QUOTES):
        missing = [c for c in columns if f"`{c}`" not in docs_of_files]
        assert missing == []


@pytest.fixture
def docs_of_files() -> str:
    from tests.conftest import ROOT

    return (ROOT / "docs" / "reference" / "output-files.md").read_text(encoding="utf-8")
