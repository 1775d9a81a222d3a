"""The cost optimum can lie below full capacity (Baumers & Holweg, On the economics of additive manufacturing:
Experimental findings, J. Operations Management 2019, finding read in the abstract), and overmake by the
binomial law (worked out from the formula and checked independently).
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cakewright.cost.overmake import pieces_to_start
from cakewright.cost.use import Salvage, UseLaw, hazard_of


@given(fixed=st.floats(1, 200), full=st.floats(100, 2000), hazard=st.floats(0.05, 1.5))
def test_optimum_is_where_the_closed_form_says(fixed, full, hazard):
    """With all lost on failure, d/du of (F + v u) e^(Lu) / u = 0 at L u (F + v u) = F, if that is below 1."""
    root = (-fixed + math.sqrt(fixed**2 + 4 * fixed * full / hazard)) / (2 * full)
    law = UseLaw(fixed=fixed, full=full, hazard=hazard)
    assert law.best_use() == pytest.approx(min(root, 1.0), abs=1e-4)


def test_optimum_lies_below_full_with_failures():
    """A build with little fixed cost and 10 % failures is cheapest at 65 % of the height; without failures at full."""
    failing = UseLaw(fixed=30, full=630, hazard=hazard_of(0.10))
    assert failing.best_use() == pytest.approx(0.649, abs=0.001)
    assert failing.unit_cost(1.0) > 1.004 * failing.unit_cost(failing.best_use())
    assert UseLaw(fixed=30, full=630, hazard=0.0).best_use() == 1.0


def test_optimum_below_full_even_when_parts_below_are_kept():
    """Kept parts move the optimum up; with many failures it stays below full: u close to sqrt(2 F / (L v))."""
    law = UseLaw(fixed=10, full=640, hazard=0.1, salvage=Salvage.BELOW)
    assert law.best_use() == pytest.approx(math.sqrt(2 * 10 / (0.1 * 640)), rel=0.05)


@pytest.mark.parametrize(
    ("quantity", "piece_yield", "started"),
    [(20, 0.97, 22), (20, 0.95, 23), (50, 0.97, 54), (50, 0.95, 56), (100, 0.97, 106), (100, 0.95, 109)],
)
def test_pieces_to_start(quantity, piece_yield, started):
    """Smallest n with 95 % chance of enough good pieces."""
    assert pieces_to_start(quantity, piece_yield, 0.95) == started
