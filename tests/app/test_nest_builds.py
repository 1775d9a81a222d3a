"""Nests of batches: specimens low, in the middle and high; early pieces low; the same with any number of workers."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest

from cakewright import read_orders
from cakewright.app import nest_builds
from cakewright.app.batch_lines import pieces_of
from cakewright.app.cages import Cages
from cakewright.app.effort import effort_in_seconds, effort_in_steps
from cakewright.app.intake import take_in
from cakewright.app.nest_builds import Nester, nests_of
from cakewright.app.nest_wishes import wishes_for
from cakewright.app.plan_build import Batch, drawn_rules, nest_space, turning
from cakewright.app.progress import quiet
from cakewright.model.part import Freedom, OrientationRule
from cakewright.nesting.fulfil import judge
from cakewright.nesting.task import NestPiece, NestTask
from cakewright.nesting.verify import verify_nest
from cakewright.parts.orient import candidate_rotations
from tests.app.worlds import small_cell, write_order_book


def nester_of(tmp_path, rows):
    """A nester and one batch with the lines (part, quantity, flags)."""
    cell = small_cell()
    material, finish, quality = cell.materials[0].name, cell.finishes[0].name, cell.classes[0].name
    text = [
        f"{n},A-1,2027-03-01,Team,{part},A,{qty},{material},{finish},{quality},2027-03-10,{part}.stl,{flag}"
        for n, (part, qty, flag) in enumerate(rows, start=1)
    ]
    book, folder = write_order_book(tmp_path, cell, text)
    orders = read_orders(book, cell)
    taken = take_in(orders, cell, folder)
    turns = {k: candidate_rotations(p.mesh, p.orientation, 1) for k, p in taken.parts.items()}
    nester = Nester(orders.lines, taken.parts, turns, cell, effort_in_steps(4), 1, Cages())
    pieces = tuple(p for line in orders.lines for p in pieces_of(line, taken.part_of_line[line.line]))
    return nester, Batch("B1", cell.machines[0], pieces, "", ())


def test_specimens_stand_low_in_the_middle_and_high(tmp_path):
    """Three witness bricks among plates: one on the floor, one half way up, one at the top."""
    nester, batch = nester_of(tmp_path, [("plate", 60, ""), ("brick", 3, "witness")])
    made = nester.nest(batch)
    assert not made.left_out
    assert len(made.placements) == 63
    bricks = sorted((p for p in made.placements if p.line == 2), key=lambda p: p.z_min_mm)
    assert bricks[0].z_min_mm == pytest.approx(0.0, abs=1e-3)
    assert bricks[1].z_min_mm < made.height_mm / 2 < bricks[1].z_max_mm
    assert bricks[2].z_max_mm > 0.9 * made.height_mm
    assert any("specimens L02-1, L02-2, L02-3 stand in places kept free" in note for note in made.notes)
    assert made.seconds > 0


def test_must_have_pieces_are_printed_first(tmp_path):
    """Cubes flagged 'must have' stand at the bottom of a pile of plates."""
    nester, batch = nester_of(tmp_path, [("plate", 30, ""), ("cube", 4, "must have")])
    made = nester.nest(batch)
    tops = [p.z_max_mm for p in made.placements if p.line == 2]
    assert max(tops) < made.height_mm / 2


def test_two_workers_make_the_nests_of_one(tmp_path):
    nester, batch = nester_of(tmp_path, [("brick", 6, ""), ("cube", 6, "")])
    batches = [batch, Batch("B2", batch.machine, batch.pieces[:5], "", ())]
    alone = [n for _, n in nests_of(batches, nester, 1, quiet)]
    beside = [n for _, n in nests_of(batches, nester, 2, quiet)]
    for a, b in zip(alone, beside, strict=True):
        assert [p.translation.tolist() for p in a.placements] == [p.translation.tolist() for p in b.placements]


@pytest.mark.parametrize(("by_clock", "expected"), [(True, [2, 2]), (False, [1, 1])])
def test_cores_without_a_build_of_their_own_help_only_when_the_clock_rules(tmp_path, monkeypatch, by_clock, expected):
    """Four workers, two builds: two threads for each nest by the clock; counted steps must not depend on cores."""
    nester, batch = nester_of(tmp_path, [("brick", 3, "")])
    nester = replace(nester, effort=replace(nester.effort, by_clock=by_clock))
    asked = []
    real = nest_builds.nest_batch

    def watched(*args, workers, **more):
        asked.append(workers)
        return real(*args, workers=workers, **more)

    monkeypatch.setattr(nest_builds, "nest_batch", watched)
    made = list(nests_of([batch, replace(batch, key="B2")], nester, 4, quiet))
    assert asked == expected
    assert all(len(placed.placements) == 3 for _, placed in made)


def test_the_last_step_of_a_nest_is_settling_within_its_effort(tmp_path):
    """Bricks and plates: two rounds of settling make the build lower than by cells, clear, at no higher price."""
    nester, batch = nester_of(tmp_path, [("plate", 20, ""), ("brick", 9, "must have"), ("cube", 9, "")])
    rules = replace(nester.cell.nesting, clearance_mm=2.7, voxel_mm=2.0)  # no multiple of a cell: air at every contact
    nester = replace(nester, cell=replace(nester.cell, nesting=rules))
    by_cells = nester.nest(batch)
    asked: list[int] = []

    def counted(steps: int, best: float) -> bool:
        asked.append(steps)
        return steps >= 2

    settling = replace(nester, effort=replace(nester.effort, settle=lambda: counted))
    made = settling.nest(batch)
    assert max(asked) <= 2
    assert made.height_mm < by_cells.height_mm - 0.2
    assert any("settled on the exact shapes" in note for note in made.notes)
    prices = [sum(t.price for t in judge(task_of(nester, batch), n)) for n in (by_cells, made)]
    assert prices[1] < prices[0]
    meshes = {key: part.mesh for key, part in nester.parts.items()}
    space = nest_space(nester.cell.chamber_type(batch.machine.chamber_type), batch.machine)
    assert verify_nest(meshes, made.placements, space, made.clearance_mm, clock=lambda: 0.0).is_clear


def task_of(nester, batch):
    """What the nest of a batch was asked."""
    rules = drawn_rules(nester.cell, batch.machine).nesting
    return NestTask(
        {key: part.mesh for key, part in nester.parts.items()}, batch.pieces, nester.rotations,
        nest_space(nester.cell.chamber_type(batch.machine.chamber_type), batch.machine),
        rules.clearance_mm, rules.voxel_mm, wishes_for(batch.pieces, nester.parts, nester.cell),
    )  # fmt: skip


def test_a_part_whose_orientation_is_fixed_is_not_turned():
    """Settling may turn about the vertical what is free, about Z or in a cone; never what is fixed, nor specimens."""
    ways = [Freedom.FREE, Freedom.ABOUT_Z, Freedom.UPRIGHT_CONE, Freedom.FIXED]
    parts = {w.name: SimpleNamespace(orientation=OrientationRule(w, reason="asked")) for w in ways}
    pieces = [NestPiece(f"L{n}-1", key, n) for n, key in enumerate(parts, start=1)]
    assert turning(parts, pieces) == {"FREE", "ABOUT_Z", "UPRIGHT_CONE"}
    assert turning(parts, pieces, straight={1, 3}) == {"ABOUT_Z"}


def test_the_first_round_of_settling_is_brought_to_its_end_but_not_at_any_price():
    """Of 20 s for a nest 3 are for settling; a first round of 9 s is waited for, one of 10 s or a second is not."""
    for at, rounds, stops in [(2.9, 1, False), (3.0, 1, True), (9.0, 0, False), (10.0, 0, True)]:
        times = iter([100.0, 100.0 + at])
        rule = effort_in_seconds(20.0, lambda: next(times)).settle()  # noqa: B023
        assert not rule(0, 1.0)
        assert rule(rounds, 1.0) == stops
