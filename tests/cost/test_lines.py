"""Shares of a build: they add up, and equal pieces pay the same."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cakewright.cost.failure import failure_probability
from cakewright.cost.lines import LineShare, add_costs, cost_build_lines
from cakewright.errors import InputError
from cakewright.model.build import PowderNeed

SMALL = LineShare(line=1, pieces=40, solid_mm3=40 * 2_000.0, envelope_mm3=40 * 9_000.0, height_mm=20.0,
                  unpack_s_per_piece=15, count_s_per_piece=3, inspect_s_per_piece=6, fixed_min=20,
                  finish="blasted", finish_price=4.0, finish_staffed_min=12, finish_s_per_piece=2)  # fmt: skip
DUCT = LineShare(
    line=2,
    pieces=1,
    solid_mm3=285_000.0,
    envelope_mm3=6_700_000.0,
    height_mm=250.0,
    unpack_s_per_piece=240,
    fixed_min=20,
    finish="blasted",
    finish_price=4.0,
    finish_staffed_min=12,
)
CHARGE = PowderNeed(
    charge_kg=6.0,
    virgin_kg=2.4,
    used_kg=3.6,
    in_parts_kg=0.35,
    loss_kg=0.2,
    back_kg=5.45,
    refresh_ratio=0.4,
    break_even_ratio=0.55 / 6,
    surplus_kg=1.85,
    refresh_reason="standard",
)
BUILD = {"machine_rate_per_h": 9.0, "print_hours": 19.0, "build_height_mm": 300.0, "hands_per_h": 48.0,
         "build_min": 90.0, "powder": CHARGE, "virgin_price_per_kg": 65.0, "failure_probability": 0.05}  # fmt: skip


def shares():
    """One to six lines of any size, each with its own refresh wish."""
    share = st.builds(
        LineShare,
        line=st.just(0),
        pieces=st.integers(1, 500),
        solid_mm3=st.floats(1, 1e6),
        envelope_mm3=st.floats(1, 1e7),
        height_mm=st.floats(1, 300),
        unpack_s_per_piece=st.floats(0, 100),
        fixed_min=st.floats(0, 60),
        finish=st.sampled_from(["", "blasted", "black"]),
        finish_price=st.just(7.0),
        finish_staffed_min=st.just(12.0),
        refresh_ratio=st.none() | st.floats(0, 1),
    )
    return st.lists(share, min_size=1, max_size=6).map(
        lambda rows: [replace(row, line=i) for i, row in enumerate(rows)]
    )


@given(lines=shares(), weight=st.floats(0, 1))
def test_shares_add_up_to_the_build(lines, weight):
    """Nothing is charged twice and nothing is left over."""
    costs = cost_build_lines(lines=lines, **BUILD, height_weight=weight)
    assert sum(c.machine for c in costs) == pytest.approx(19 * 9)
    assert sum(c.powder_in_parts + c.refresh_burden for c in costs) == pytest.approx(2.4 * 65)
    own_min = sum(s.fixed_min + s.pieces * s.unpack_s_per_piece / 60 for s in lines)
    baskets = len({s.finish for s in lines if s.finish})
    assert sum(c.hands for c in costs) == pytest.approx(48 / 60 * (90 + own_min + 12 * baskets))
    assert sum(c.finish for c in costs) == pytest.approx(7 * baskets)


def test_identical_pieces_cost_the_same():
    """Four pieces on one line cost what four pieces on two lines cost, line minutes aside."""
    piece = LineShare(line=1, pieces=1, solid_mm3=900, envelope_mm3=4000, height_mm=30, unpack_s_per_piece=20)
    three = replace(piece, line=5, pieces=3, solid_mm3=2700, envelope_mm3=12000)
    costs = cost_build_lines(lines=[piece, DUCT, three], **BUILD)
    assert costs[2].total / 3 == pytest.approx(costs[0].total)


def test_a_hollow_duct_pays_for_the_room_it_takes():
    """By part volume the duct would pay 78 % of the machine; by room it pays 95 %."""
    small, duct = cost_build_lines(lines=[SMALL, DUCT], **BUILD)
    assert duct.machine / (duct.machine + small.machine) > 0.94
    assert duct.refresh_burden > 15 * small.refresh_burden


def test_only_those_who_ask_pay_for_more_virgin_powder():
    """A draft line beside a fine one pays no more than in a draft build."""
    draft, fine = replace(SMALL, refresh_ratio=0.3), replace(DUCT, refresh_ratio=0.4)
    mixed = cost_build_lines(lines=[draft, fine], **BUILD)
    all_draft = replace(CHARGE, virgin_kg=1.8, used_kg=4.2, surplus_kg=1.25, refresh_ratio=0.3)
    alone = cost_build_lines(lines=[draft, replace(fine, refresh_ratio=0.3)], **(BUILD | {"powder": all_draft}))
    assert mixed[0].refresh_burden == pytest.approx(alone[0].refresh_burden)
    assert mixed[1].refresh_burden == pytest.approx(alone[1].refresh_burden + 0.1 * 6.0 * 65)


def test_a_tall_piece_pays_for_height():
    """Of two lines with equal room the one that needs the full height pays more of the machine."""
    tall = replace(SMALL, line=3, height_mm=300.0)
    short, high = cost_build_lines(lines=[SMALL, tall], **BUILD)
    assert high.machine - short.machine == pytest.approx(0.25 * 171 * 280 / 300)


def test_lines_add_over_builds():
    """A line in two builds costs the sum."""
    once = cost_build_lines(lines=[SMALL, DUCT], **BUILD)
    total = add_costs([*once, *cost_build_lines(lines=[SMALL], **BUILD)])
    assert [c.line for c in total] == [1, 2]
    assert sum(c.machine for c in total) == pytest.approx(2 * 171)


def test_risk_grows_with_the_record():
    """A cell that fails more pays more; one that never failed still pays a little."""
    assert failure_probability(0, 60) > 0
    low, high = (cost_build_lines(lines=[DUCT], **(BUILD | {"failure_probability": p}))[0] for p in (0.02, 0.08))
    assert 0 < low.risk < high.risk
    assert cost_build_lines(lines=[DUCT], **(BUILD | {"failure_probability": 0.0}))[0].risk == 0


@pytest.mark.parametrize(
    ("lines", "change", "words"),
    [
        ([], {}, "without lines"),
        ([SMALL, SMALL], {}, "line 1 is in the list twice"),
        ([SMALL], {"failure_probability": 1.0}, "failure probability 1"),
        ([SMALL], {"print_hours": float("nan")}, "print hours is nan"),
        ([SMALL, replace(DUCT, finish_price=5.0)], {}, "2 different basket prices"),
    ],
)
def test_impossible_builds_are_refused(lines, change, words):
    """The message says which figure."""
    with pytest.raises(InputError, match=words):
        cost_build_lines(lines=lines, **(BUILD | change))


def test_a_line_without_pieces_is_refused():
    """A share of nothing cannot be priced."""
    with pytest.raises(InputError, match="0 pieces"):
        replace(SMALL, pieces=0)
