"""The whole tool on small worlds: every joint computes, nothing is lost, nothing is overwritten."""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import lib3mf
import numpy as np
import pytest

from cakewright import plan_week, read_orders, write_plan
from cakewright.app.effort import effort_in_steps
from cakewright.app.intake import take_in
from cakewright.errors import InputError
from cakewright.formats.stl import write_stl
from cakewright.model.mesh import Mesh
from cakewright.model.plan import TaskKind, WeekPlan
from cakewright.store.open import open_store
from tests.app.worlds import small_cell, write_order_book
from tests.conftest import box_mesh

MONDAY = datetime(2027, 3, 1, 8, tzinfo=UTC)


@pytest.fixture(scope="module")
def planned(tmp_path_factory) -> tuple[WeekPlan, Path]:
    """Three blocks, planned and written once for all tests here."""
    folder = tmp_path_factory.mktemp("week")
    cell = small_cell()
    book, parts = write_order_book(folder, cell)
    plan = plan_week(read_orders(book, cell), cell, parts, start=MONDAY, effort=effort_in_steps(20))
    return write_plan(plan, folder / "out", at=MONDAY)


def test_every_ordered_piece_is_placed_once(planned):
    """6 bricks, 3 plates and 8 cubes stand in the builds, each under its own name."""
    plan, _ = planned
    pieces = [p.piece for b in plan.builds for p in b.nest.placements]
    assert len(pieces) == len(set(pieces)) == 17
    assert not plan.set_aside


def test_the_nest_is_proven_clear_and_free(planned):
    """An independent exact check found the clearance kept and a way out for everything."""
    plan, _ = planned
    for build in plan.builds:
        assert build.verification.is_clear
        assert build.verification.pairs_checked > 0
        assert build.removal.is_free
        assert sorted(build.removal.order) == sorted(p.piece for p in build.nest.placements)


def test_layers_hold_the_volume_of_the_parts(planned):
    """Slices add up to the solid volume of what was ordered."""
    plan, _ = planned
    ordered = sum(
        line.quantity * plan.parts[plan.part_of_line[line.line]].measures.volume_mm3 for line in plan.orders.lines
    )
    assert sum(b.profile.volume_mm3 for b in plan.builds) == pytest.approx(ordered, rel=0.02)


def test_powder_in_is_powder_out(planned):
    """Charge = virgin + used = parts + losses + what comes back."""
    plan, _ = planned
    for build in plan.builds:
        p = build.powder
        assert p.virgin_kg + p.used_kg == pytest.approx(p.charge_kg)
        assert p.in_parts_kg + p.loss_kg + p.back_kg == pytest.approx(p.charge_kg)


def test_hands_only_when_somebody_is_in(planned):
    """Printing and cooling run alone; everything else names a person."""
    plan, _ = planned
    for task in plan.schedule.tasks:
        assert task.end > task.start
        if task.kind in (TaskKind.PRINT, TaskKind.COOL, TaskKind.WAIT):
            assert not task.people
        else:
            assert task.people, task
    assert plan.schedule.validated


def test_every_line_has_a_date_a_reason_and_a_price(planned):
    plan, _ = planned
    numbers = [line.line for line in plan.orders.lines]
    assert [p.line for p in plan.promises] == numbers
    assert [c.line for c in plan.costs] == numbers
    for promise in plan.promises:
        assert promise.ready and promise.reason
        build = plan.builds_of(promise.line)[0]
        opened = next(t for t in plan.schedule.of_build(build.key) if t.kind is TaskKind.COOL).end
        assert promise.ready > opened
    assert all(c.total > 0 for c in plan.costs)


def test_the_folder_holds_what_was_promised(planned):
    """Build files, tables, papers and report of each build, and no temporary folder is left."""
    plan, folder = planned
    assert folder.name == "plan-001"
    for build in plan.builds:
        for name in (f"builds/{build.key}.3mf", f"builds/{build.key}.stl", f"papers/{build.key}-traveller.pdf",
                     f"papers/{build.key}-unpacking-map.pdf", f"papers/{build.key}-powder-slip.pdf"):  # fmt: skip
            assert (folder / name).stat().st_size > 500, name
    for name in ("placements.csv", "schedule.csv", "powder.csv", "quotes.csv", "report.html", "papers/handover.pdf"):
        assert (folder / name).stat().st_size > 100, name
    assert not [p for p in folder.parent.iterdir() if p.name.startswith(".plan")]


def test_the_3mf_stands_where_the_plan_says(planned):
    """Each item of the build file has the box that placements.csv gives."""
    plan, folder = planned
    with (folder / "placements.csv").open(newline="", encoding="utf-8-sig") as f:
        rows = {row["piece"]: row for row in csv.DictReader(f)}
    assert len(rows) == 17
    build = plan.builds[0]
    tops = tops_by_reference_reader(folder / "builds" / f"{build.key}.3mf")
    assert len(tops) == build.pieces
    for piece, top in tops.items():
        assert float(rows[piece]["z_max_mm"]) == pytest.approx(top, abs=2e-3)


def tops_by_reference_reader(file: Path) -> dict[str, float]:
    """Highest z of each build item as lib3mf, the reference implementation, sees it, by part number."""
    wrapper = lib3mf.Wrapper()
    model = wrapper.CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(file))
    assert reader.GetWarningCount() == 0
    tops = {}
    items = model.GetBuildItems()
    while items.MoveNext():
        item = items.GetCurrent()
        box = item.GetObjectResource().GetOutbox()
        low, high = np.array(box.MinCoordinate[:]), np.array(box.MaxCoordinate[:])
        corners = np.array([[(low, high)[i][0], (low, high)[j][1], (low, high)[k][2]]
                            for i in (0, 1) for j in (0, 1) for k in (0, 1)])  # fmt: skip
        fields = np.array([list(column) for column in item.GetObjectTransform().Fields])  # rows of the 4x3 matrix
        tops[item.GetPartNumber()] = float((corners @ fields[:3] + fields[3])[:, 2].max())
    return tops


def test_planning_again_makes_a_second_version(planned, tmp_path):
    """The first plan stays as it was, in the folder and in the database."""
    plan, folder = planned
    before = (folder / "report.html").read_bytes()
    again, second = write_plan(plan, folder.parent, at=MONDAY)
    assert (again.version, second.name) == (2, "plan-002")
    assert (folder / "report.html").read_bytes() == before
    store = open_store(folder.parent / "cakewright.sqlite")
    try:
        assert sorted(s.version for s in store.plans()) == [1, 2]
        loaded = store.load_plan(1)
    finally:
        store.close()
    assert loaded.version == 1
    assert np.array_equal(loaded.builds[0].profile.area_mm2, plan.builds[0].profile.area_mm2)


def test_a_failure_while_writing_leaves_nothing_behind(planned, monkeypatch, tmp_path):
    """When a paper cannot be made there is no half folder and no plan in the database."""
    plan, _ = planned

    def broken(*_):
        raise RuntimeError("printer ink ran out")

    monkeypatch.setattr("cakewright.app.write_plan.report_html", broken)
    with pytest.raises(RuntimeError, match="ink"):
        write_plan(plan, tmp_path / "out", at=MONDAY)
    assert [p.name for p in (tmp_path / "out").iterdir() if p.is_dir()] == []
    store = open_store(tmp_path / "out" / "cakewright.sqlite")
    assert store.plans() == ()
    store.close()


def test_same_seed_same_plan(tmp_path):
    """Effort counted in steps gives the same placements and dates twice."""
    cell = small_cell()
    book, parts = write_order_book(tmp_path, cell)
    orders = read_orders(book, cell)
    first, second = (plan_week(orders, cell, parts, start=MONDAY, seed=4, effort=effort_in_steps(10)) for _ in range(2))
    for a, b in zip(first.builds, second.builds, strict=True):
        for p, q in zip(a.nest.placements, b.nest.placements, strict=True):
            assert p.piece == q.piece
            assert np.array_equal(p.matrix, q.matrix)
    assert first.schedule.tasks == second.schedule.tasks


def test_an_unreadable_file_is_named_and_the_rest_is_planned(tmp_path):
    """A broken STL sets its line aside with a reason; the others get builds and dates."""
    cell = small_cell()
    book, parts = write_order_book(tmp_path, cell)
    (parts / "plate.stl").write_bytes(b"this is no mesh at all")
    plan = plan_week(read_orders(book, cell), cell, parts, start=MONDAY, effort=effort_in_steps(5))
    assert [s.line for s in plan.set_aside] == [2]
    assert plan.set_aside[0].reason and plan.set_aside[0].remedy
    assert [p.line for p in plan.promises] == [1, 3]


def test_nothing_to_plan_is_an_error(tmp_path):
    cell = small_cell()
    book, parts = write_order_book(tmp_path, cell)
    for file in parts.iterdir():
        file.write_bytes(b"")
    with pytest.raises(InputError, match=r"no line of .* can be planned"):
        plan_week(read_orders(book, cell), cell, parts, start=MONDAY, effort=effort_in_steps(5))


def test_turned_faces_are_mended_and_said(tmp_path):
    """A cube with three triangles inside out is repaired, planned, and the repair is among the findings."""
    cell = small_cell()
    book, parts = write_order_book(tmp_path, cell)
    whole = box_mesh(15, 15, 15)
    faces = whole.faces.copy()
    faces[:3] = faces[:3, ::-1]
    write_stl(parts / "cube.stl", Mesh(whole.vertices, faces), "cube")
    plan = plan_week(read_orders(book, cell), cell, parts, start=MONDAY, effort=effort_in_steps(5))
    assert not plan.set_aside
    assert plan.parts["L03"].measures.volume_mm3 == pytest.approx(15**3)
    assert any(f.code.startswith("repair.") and "line 3" in f.where for f in plan.findings)


def test_mirror_twins_are_announced(tmp_path):
    """Left and right hand of the demo's hinge are named as twins that a scale cannot separate."""
    from cakewright.demo import demo_cell, demo_orders, demo_parts
    from cakewright.demo.writing import write_parts

    orders, parts, lines = demo_orders(), demo_parts(), (1, 2, 3, 20, 21)  # two pairs, and a part without a twin
    write_parts(tmp_path, {line: parts[line] for line in lines})
    few = replace(orders, lines=tuple(x for x in orders.lines if x.line in lines))
    taken = take_in(few, demo_cell(), tmp_path)
    pairs = {f.where for f in taken.findings if f.code == "identity.mirror"}
    assert pairs == {"lines 1 and 2", "lines 20 and 21"}


def test_a_line_held_back_by_another_is_told_so(tmp_path):
    """Bricks received on Monday share a build with cubes received on Wednesday: the reason says which line."""
    cell = small_cell()
    material, finish, quality = cell.materials[0].name, cell.finishes[0].name, cell.classes[0].name
    rows = [
        f"{n},A-1,{day},Team,{part},A,2,{material},{finish},{quality},2027-03-19,{part}.stl,"
        for n, (part, day) in enumerate({"brick": "2027-03-01", "cube": "2027-03-03"}.items(), start=1)
    ]
    book, parts = write_order_book(tmp_path, cell, rows)
    plan = plan_week(read_orders(book, cell), cell, parts, start=MONDAY, effort=effort_in_steps(5))
    assert len(plan.builds) == 1
    assert "also holds line 2, received Wed 3 Mar" in plan.promise(1).reason
    assert "also holds" not in plan.promise(2).reason
