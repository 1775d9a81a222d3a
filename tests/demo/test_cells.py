"""The invented cells are what the tour of the program tells about them."""

import math

import pytest

from cakewright.demo import demo_cell, demo_orders, demo_parts


def test_the_week_of_cell_a():
    """Forty lines, 300 pieces, 3.16 litres of parts in 18.2 litres of boxes."""
    orders = demo_orders("a")
    assert (len(orders.lines), orders.pieces, orders.findings) == (40, 300, ())
    volume = sum(line.quantity * line.nominal_volume_cm3 for line in orders.lines) / 1000
    boxes = sum(line.quantity * x * y * z for line in orders.lines for x, y, z in [line.nominal_size_mm]) / 1e6
    assert volume == pytest.approx(3.16, abs=0.01)
    assert boxes == pytest.approx(18.2, abs=0.05)


def test_the_week_of_cell_b():
    """Forty lines, 2688 pieces: 30.3 and 6.65 litres of parts in 304 and 26.3 litres of boxes."""
    orders = demo_orders("b")
    assert (len(orders.lines), orders.pieces, orders.findings) == (40, 2688, ())
    for material, solid, boxes in (("PA12", 30.3, 304), ("PA12-GF", 6.65, 26.3)):
        lines = [line for line in orders.lines if line.material == material]
        assert sum(li.quantity * li.nominal_volume_cm3 for li in lines) / 1000 == pytest.approx(solid, rel=0.01)
        assert sum(li.quantity * math.prod(li.nominal_size_mm) for li in lines) / 1e6 == pytest.approx(boxes, rel=0.01)


@pytest.mark.parametrize(
    ("name", "share", "outline_per_mm", "pieces", "seconds"), [("a", 0.09, 0.665, 15, 9), ("b", 0.08, 0.703, 60, 18)]
)
def test_a_layer_takes_as_long_as_the_cell_file_says(name, share, outline_per_mm, pieces, seconds):
    """At the stated share of the platform and the outlines that the parts have."""
    machine, chamber = demo_cell(name).machines[0], demo_cell(name).chamber_types[0]
    area = share * chamber.x_mm * chamber.y_mm
    scan = area / (machine.hatch_spacing_mm * machine.hatch_speed_mm_s)
    scan += outline_per_mm * area / machine.contour_speed_mm_s + pieces * machine.jump_s
    assert scan == pytest.approx(seconds, rel=0.03)


@pytest.mark.parametrize(("name", "outline_per_mm"), [("a", 0.665), ("b", 0.703)])
def test_outlines_are_those_of_the_parts(name, outline_per_mm):
    """pi/4 x surface / volume over all pieces of the first material: mean outline for each mm² of a random cut."""
    surface = volume = 0.0
    bodies = demo_parts(name)
    for line in demo_orders(name).lines:
        if line.material == "PA12":
            body = bodies[line.line].make()
            surface += line.quantity * body.surface_area()
            volume += line.quantity * body.volume()
    assert math.pi / 4 * surface / volume == pytest.approx(outline_per_mm, rel=0.02)


def test_cell_b_has_two_materials_that_share_one_recovery_station():
    """Six chambers, four of PA12 and two of PA12-GF; only one place to unpack."""
    cell = demo_cell("b")
    assert [len(cell.chambers_for(m.name, "large")) for m in cell.materials] == [4, 2]
    assert [len(cell.machines_for(m.name)) for m in cell.materials] == [3, 1]
    assert sum(station.kind == "unpack" for station in cell.stations) == 1


def test_somebody_is_there_all_day_and_two_in_the_morning():
    """Mira all day, Dev in the mornings."""
    people = {p.name: p for p in demo_cell("a").people}
    assert set(people) == {"Mira Solheim", "Dev Marten"}
    assert "start" in people["Dev Marten"].skills
    assert people["Dev Marten"].shifts[0].end.hour == 12
