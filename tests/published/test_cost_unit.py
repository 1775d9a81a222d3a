"""Unit cost against published worked figures.

Lever of Hopkinson & Dickens, Proc. IMechE C 217 (2003) 31-39 (figures from memory, arithmetic
self-consistent). Saw-tooth after Ruffo, Tuck & Hague, Proc. IMechE B 220 (2006) 1417-1427 (shape of the
curve from memory: the unit cost falls inside a build and jumps when the next row, layer or build starts).
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cakewright.cost.breaks import QuantityLaw, cheaper_to_make_more, price_breaks
from cakewright.cost.rates import machine_cost_per_piece, machine_rate_per_h


def test_lever_on_laser_sintering():
    """0.5238 machine + 0.03 labour + 1.647 material = 2.20 EUR for each lever."""
    rate = machine_rate_per_h(purchase=340_000, life_years=8, maintenance_per_year=30_450, hours_per_year=7884)
    machine = machine_cost_per_piece(rate, 59.78, 1056)
    assert rate * 7884 == pytest.approx(72_950)
    assert machine == pytest.approx(0.5238, abs=5e-5)
    assert machine + 0.03 + 54 * 0.0305 == pytest.approx(2.20, abs=0.005)


def test_lever_on_stereolithography():
    """The machine line of the same part on the other process: 3.918 EUR."""
    rate = machine_rate_per_h(purchase=1_040_000, life_years=8, maintenance_per_year=89_000, hours_per_year=7884)
    assert machine_cost_per_piece(rate, 26.8, 190) == pytest.approx(3.918, abs=5e-3)


laws = st.builds(
    QuantityLaw,
    per_tier=st.integers(2, 40),
    tiers=st.integers(1, 12),
    per_build=st.floats(1, 500),
    tier_price=st.floats(0, 80),
    piece_price=st.floats(0, 20),
)


@given(law=laws, builds=st.integers(1, 4))
def test_saw_tooth(law, builds):
    """Falls within a tier, jumps at the next build, and every full build costs the floor."""
    n = builds * law.capacity
    assert law.unit(n) == pytest.approx(law.floor)
    assert law.unit(n + 1) > law.unit(n)
    assert all(law.unit(n + k + 1) < law.unit(n + k) for k in range(1, law.per_tier))
    assert min(law.unit(k) for k in range(1, n + 1)) == pytest.approx(law.floor)


def test_price_breaks_are_new_lows():
    """Of asked quantities only those that are cheaper per piece than every smaller one are offered."""
    law = QuantityLaw(per_tier=10, tiers=2, per_build=100, tier_price=20, piece_price=1)
    assert [b.quantity for b in price_breaks(law, [1, 5, 10, 11, 20, 21, 40])] == [1, 5, 10, 20]
    assert cheaper_to_make_more(law, 17, 25) == 20
