"""Rules that speak, scale changes that are guarded, gauges, bars and samples."""

from datetime import date

import numpy as np
import pytest

from cakewright.errors import InputError
from cakewright.quality.calibrate import Measured, fit_axis, propose_scale
from cakewright.quality.gauge import GaugeStudy, check_gauge, gauge_anova
from cakewright.quality.grades import grade_tolerance_um, rate_deviation
from cakewright.quality.sampling import (
    accept_chance,
    code_letter,
    plan_for_code,
    smallest_plan,
    stratified,
    zero_acceptance_sample,
)
from cakewright.quality.spc import Chart, c_chart, individuals, p_chart, signals, xbar_r
from cakewright.quality.specimens import Limit, check_directions, check_drift, check_release


def chart(z):
    n = len(z)
    return Chart("z", np.array(z, dtype=float), 0.0, np.full(n, -3.0), np.full(n, 3.0), np.ones(n))


@pytest.mark.parametrize(
    ("z", "index", "rule"),
    [
        ([0, 3.2, 0], 1, "beyond the limit"),
        ([0.5] * 8, 7, "8 in a row on one side"),
        ([0, -2.5, 0.2, -2.2], 3, "two of three beyond two sigma"),
        ([1.5, 1.2, 0.1, 1.1, 1.4], 4, "four of five beyond one sigma"),
        ([-1, -0.6, -0.2, 0.1, 0.4, 0.6], 5, "six in line"),
    ],
)
def test_each_rule_speaks(z, index, rule):
    """Each pattern fires its own rule at the point that completes it."""
    assert [(s.index, s.rule) for s in signals(chart(z))] == [(index, rule)]


def test_quiet_points_are_quiet():
    """Points that hop around the centre say nothing; on the limit is inside."""
    assert signals(chart([0.5, -0.4, 0.3, -0.8, 0.9, -0.2])) == ()
    assert chart([3.0, -3.0]).is_in_control


@pytest.mark.parametrize(
    ("work", "words"),
    [
        (lambda: individuals([1.0]), "1 values"),
        (lambda: xbar_r([[1, 2], [1, 2, 3]]), "different size"),
        (lambda: p_chart([5], [4]), "more bad pieces"),
        (lambda: c_chart([]), "0 values"),
        (lambda: code_letter(1), "a lot of 1"),
        (lambda: plan_for_code("A", 0.5), "AQL 0.5"),
        (lambda: plan_for_code("A", 10.0), "no normal plan"),
        (lambda: accept_chance(5, 1, 2.0), "bad share of 2"),
        (lambda: smallest_plan(good=0.2, accept_good=0.9, bad=0.1, accept_bad=0.1), "good 0.2"),
        (lambda: zero_acceptance_sample(50, 0.0), "bad share of 0"),
        (lambda: grade_tolerance_um(17, 10), "IT17"),
        (lambda: rate_deviation(600, 601), "600 mm"),
        (lambda: fit_axis([10, 10, 10], [9.8, 9.9, 9.8]), "too alike"),
        (lambda: fit_axis([10, 20, 30], [100, 200, 300]), "scale of 10.000"),
        (lambda: gauge_anova(np.zeros((3, 1, 3))), r"shape \(3, 1, 3\)"),
        (lambda: stratified([("a", 1.0)], 2), "2 of 1 pieces"),
    ],
)
def test_impossible_input_is_refused(work, words):
    """Each refusal names the figure."""
    with pytest.raises(InputError, match=words):
        work()


def builds(scales, **changes):
    row = {"machine": "A1", "material": "PA12 grey", "blend_class": "standard", "opened_cold": True} | changes
    return [Measured(f"B{i}", s, **row) for i, s in enumerate(scales)]


STEADY = [1.0002, 0.9998, 1.0001, 0.9999, 1.0002, 0.9997, 1.0001, 1.0]


def test_noise_changes_nothing():
    """A scale that hops around one is left alone."""
    found = propose_scale("X", builds(STEADY), old_factor=1.031)
    assert found.new_factor is None
    assert "noise" in found.reason


def test_drift_is_proposed_with_effect_and_evidence():
    """Builds 0.3 % too small: 30 % of the error is corrected, and the builds behind it are named."""
    found = propose_scale("X", builds([*STEADY, 0.997, 0.9971, 0.9969]), old_factor=1.031)
    assert found.new_factor is not None
    assert found.new_factor == pytest.approx(1.031 * (1 + 0.3 * (1 / 0.997 - 1)))
    assert found.effect_mm == pytest.approx(0.09, abs=0.001)
    assert found.evidence == ("B8", "B9", "B10")


def test_mixed_groups_and_hot_cakes_never_change_the_scale():
    """Two machines in one group, or cakes opened hot, give a reason instead of a number."""
    drift = [*STEADY, 0.997, 0.9971, 0.9969]
    mixed = builds(drift) + builds([0.99], machine="B2")
    assert "machines A1 and B2" in propose_scale("X", mixed, old_factor=1.031).reason
    hot = builds(STEADY[:6]) + builds([0.99] * 6, opened_cold=False)
    found = propose_scale("X", hot, old_factor=1.031)
    assert found.new_factor is None
    assert "6 cold-opened builds" in found.reason


def test_gauges():
    """Overdue blocks; 20 % of the tolerance warns, 40 % blocks."""
    codes = [(f.code, f.severity.value) for f in check_gauge("G1", due=date(2027, 1, 1), today=date(2027, 3, 1))]
    assert codes == [("quality.gauge-overdue", "blocking")]
    due = {"due": date(2028, 1, 1), "today": date(2027, 3, 1)}
    assert check_gauge("G1", **due, share_of_tolerance=0.2)[0].severity.value == "warning"
    assert check_gauge("G1", **due, share_of_tolerance=0.4)[0].severity.value == "blocking"
    assert check_gauge("G1", **due, share_of_tolerance=0.05) == ()
    assert GaugeStudy(0.01, 0.0, 0.1).share_of_tolerance(0.6) == pytest.approx(0.1)


def test_bars_hold_a_build():
    """A missing bar or one below the limit holds the build; good bars say nothing."""
    limit = Limit("elongation", 12.0, "%")
    assert check_release("B7", [15, 14, 16], limit) == ()
    assert check_release("B7", [15, 14], limit)[0].code == "quality.specimens-missing"
    assert check_release("B7", [15, 11, 16], limit)[0].code == "quality.specimen-low"
    with pytest.raises(InputError, match="readings"):
        check_release("B7", [-1.0], limit)


def test_slow_drift_of_bars_is_seen_before_the_limit():
    """Elongation falling by one sigma is noticed by the weighted mean; the usual scatter is not."""
    usual = [15.0, 15.4, 14.7, 15.2, 14.8, 15.1, 15.3, 14.9, 15.0, 14.6, 15.2]
    assert check_drift("elongation", usual, [15.1, 14.9, 15.0]) is None
    found = check_drift("elongation", usual, [14.5] * 10)
    assert found is not None
    assert found.code == "quality.specimen-drift"


def test_directions():
    """Z at 0.9 of X is usual, at 0.7 it is not."""
    assert check_directions({"X": 48, "Z": 43.2}, {"X": 1700, "Z": 1600}) == ()
    found = check_directions({"X": 48, "Z": 33.6}, {"X": 1700, "Z": 1600})
    assert [f.code for f in found] == ["quality.anisotropy"]


def test_samples_are_spread_over_the_height():
    """Three of seven: lowest, middle, highest."""
    pieces = [(f"P{i}", 10.0 * i) for i in range(7)]
    assert stratified(pieces, 3) == ("P0", "P3", "P6")
    assert stratified(pieces, 1) == ("P3",)
