"""Money adds up to the cent."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cakewright.cost.money import round_up, share_out, to_money
from cakewright.cost.variance import Use, split_variance
from cakewright.errors import InputError

amounts = st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=12)


@given(amounts=amounts, digits=st.integers(0, 3))
def test_rounded_shares_add_up(amounts, digits):
    """The rounded shares give the rounded total, and none is off by a whole unit."""
    from fractions import Fraction

    shares = share_out(amounts, digits)
    assert sum(shares) == to_money(sum(Fraction(a) for a in amounts), digits)
    assert all(abs(Fraction(s) - Fraction(a)) < Fraction(1, 10**digits) for s, a in zip(shares, amounts, strict=True))


def test_three_thirds_make_ten():
    """10.00 in three: one of them is a cent dearer."""
    assert share_out([10 / 3] * 3) == (Decimal("3.34"), Decimal("3.33"), Decimal("3.33"))


def test_prices_are_rounded_up():
    """12.01 in whole units is 13; a price on the step stays."""
    assert round_up(12.01, Decimal(1)) == 13
    assert round_up(Decimal("12.00"), Decimal(1)) == 12
    with pytest.raises(InputError, match="amount of nan"):
        to_money(float("nan"))


uses = st.lists(
    st.tuples(st.integers(1, 500), st.integers(0, 50), st.decimals(0, 1000, places=3), st.decimals(0, 100, places=2)),
    min_size=1,
    max_size=5,
)


def book(rows):
    return [Use(i, good, good + bad, used, price) for i, (good, bad, used, price) in enumerate(rows)]


@given(data=st.data(), planned=uses)
def test_variances_add_up_exactly(data, planned):
    """Price, usage, yield, mix and volume give actual minus planned to the cent."""
    actual = data.draw(st.lists(uses.map(lambda u: u[0]), min_size=len(planned), max_size=len(planned)))
    before, after = book(planned), book(actual)
    split = split_variance(before, after)
    assert split.total == to_money(sum(u.cost for u in after) - sum(u.cost for u in before))


def test_each_cause_alone_is_found_alone():
    """Changing one thing shows up in one column."""
    base = [Use(1, 100, 110, 11.0, 60.0), Use(2, 50, 50, 10.0, 60.0)]
    dearer = split_variance(base, [Use(1, 100, 110, 11.0, 66.0), Use(2, 50, 50, 10.0, 66.0)])
    assert (dearer.price, dearer.total) == (Decimal("126.00"), Decimal("126.00"))
    thirsty = split_variance(base, [Use(1, 100, 110, 12.1, 60.0), base[1]])
    assert (thirsty.usage, thirsty.total) == (Decimal("66.00"), Decimal("66.00"))
    scrap = split_variance(base, [Use(1, 100, 120, 12.0, 60.0), base[1]])
    assert (scrap.yield_loss, scrap.total) == (Decimal("60.00"), Decimal("60.00"))
    double = split_variance(base, [Use(1, 200, 220, 22.0, 60.0), Use(2, 100, 100, 20.0, 60.0)])
    assert (double.volume, double.total) == (Decimal("1260.00"), Decimal("1260.00"))
    mixed = split_variance(base, [Use(1, 50, 55, 5.5, 60.0), Use(2, 100, 100, 20.0, 60.0)])
    assert (mixed.mix, mixed.total) == (Decimal("270.00"), Decimal("270.00"))


def test_lines_must_match():
    """A line that was not planned cannot be compared."""
    with pytest.raises(InputError, match=r"differing: \[2\]"):
        split_variance([Use(1, 1, 1, 1, 1)], [Use(1, 1, 1, 1, 1), Use(2, 1, 1, 1, 1)])
    with pytest.raises(InputError, match="5 good of 4 started"):
        Use(1, 5, 4, 1.0, 1.0)
