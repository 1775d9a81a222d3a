"""Random cells for measuring: the same seed gives the same cell, and the cell is the one that is described."""

from cakewright.schedule.generator import CHANGEOVER_MIN, SLOT_MIN, made_cell
from cakewright.schedule.validate import validate
from cakewright.schedule.warm import warm


def test_the_same_seed_gives_the_same_cell():
    assert made_cell(12, 5) == made_cell(12, 5)
    assert made_cell(12, 5).builds != made_cell(12, 6).builds


def test_the_cell_is_the_one_described():
    """Four machines of two sizes that lose a day between powders, six chambers, two people; whole slots."""
    made = made_cell(40, 1)
    assert [m.changeover_min for m in made.cell.machines] == [CHANGEOVER_MIN] * 4
    assert sorted(c.type for c in made.cell.chambers) == ["large"] * 3 + ["small"] * 3
    assert len(made.cell.people) == 2 and len({b.material for b in made.builds}) == 3
    times = [t for b in made.builds for t in (*b.print_min.values(), b.cool_min, b.unpack_min)]
    assert all(t % SLOT_MIN == 0 for t in times) and min(max(b.print_min.values()) for b in made.builds) >= 360


def test_warming_up_gives_a_plan_that_can_be_carried_out():
    made = made_cell(3, 0)
    assert validate(made.cell, made.builds, made.lines, warm()) == ()
