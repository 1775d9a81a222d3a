"""The invented cells are what the tour of the program tells about them."""

import pytest

from cakewright.demo import demo_cell, demo_orders


def test_the_week_of_cell_a():
    """Forty lines, 300 pieces, 3.16 litres of parts in 18.2 litres of boxes."""
    orders = demo_orders("a")
    assert (len(orders.lines), orders.pieces, orders.findings) == (40, 300, ())
    volume = sum(line.quantity * line.nominal_volume_cm3 for line in orders.lines) / 1000
    boxes = sum(line.quantity * x * y * z for line in orders.lines for x, y, z in [line.nominal_size_mm]) / 1e6
    assert volume == pytest.approx(3.16, abs=0.01)
    assert boxes == pytest.approx(18.2, abs=0.05)


def test_a_layer_of_cell_a_takes_nine_seconds_to_scan():
    """At 9 % of the platform and the outlines that the parts have (pi/4 x surface / volume per mm²)."""
    machine, chamber = demo_cell("a").machines[0], demo_cell("a").chamber_types[0]
    area = 0.09 * chamber.x_mm * chamber.y_mm
    scan = area / (machine.hatch_spacing_mm * machine.hatch_speed_mm_s)
    scan += 0.665 * area / machine.contour_speed_mm_s + 15 * machine.jump_s
    assert scan == pytest.approx(9.0, abs=0.2)


def test_somebody_is_there_all_day_and_two_in_the_morning():
    """Mira all day, Dev in the mornings."""
    people = {p.name: p for p in demo_cell("a").people}
    assert set(people) == {"Mira Solheim", "Dev Marten"}
    assert "start" in people["Dev Marten"].skills
    assert people["Dev Marten"].shifts[0].end.hour == 12
