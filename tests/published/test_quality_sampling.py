"""Acceptance sampling against published tables and worked examples.

Code letters and plans: MIL-STD-105E (1989) Tables I, II-A, II-B = ISO 2859-1:1999. Operating curve: NIST
e-Handbook 6.2.3. Designs: vignettes of the R packages AcceptanceSampling (Kiermeier) and AccSamplingDesign.
Zero acceptance: hypergeometric law, recomputed independently. Switching: ISO 2859-1:1999, 9.3 (second-hand).
"""

import csv

import pytest

from cakewright.quality.sampling import (
    Inspection,
    accept_chance,
    code_letter,
    next_inspection,
    outgoing_quality,
    plan_for_code,
    plan_for_lot,
    smallest_plan,
    variables_accept_chance,
    worst_outgoing_quality,
    zero_acceptance_sample,
)
from cakewright.sources.quality import SAMPLE_SIZES


def table(shared, name):
    with (shared / "checks" / "data" / "sampling" / name).open(encoding="utf-8-sig") as file:
        return list(csv.DictReader(file))


def test_code_letters(shared):
    """Every cell of Table I, at both ends of its row of lot sizes."""
    checked = 0
    for row in table(shared, "code_letters.csv"):
        low, high = int(row["lot_min"]), int(row["lot_max"])
        for level in ("S-1", "S-2", "S-3", "S-4", "I", "II", "III"):
            assert code_letter(low, level) == row[level]
            assert code_letter(high if high > 0 else 10 * low, level) == row[level]
            checked += 1
    assert checked == 105


def test_normal_plans(shared):
    """Every resolved plan of the normal table."""
    checked = 0
    for row in table(shared, "normal_single_resolved.csv"):
        if row["Ac"]:
            plan = plan_for_code(row["code"], float(row["aql"]))
            expected = (row["resolved_code"], int(row["resolved_n"]), int(row["Ac"]), int(row["Re"]))
            assert (plan.code, plan.sample, plan.accept, plan.reject) == expected
            checked += 1
    assert checked > 180


def test_tightened_plans(shared):
    """Every number of the tightened table for rows B to K; arrows lead to another row."""
    checked = 0
    for row in table(shared, "tightened_single_cells.csv"):
        if row["code"] not in "BCDEFGHJK":
            continue
        for aql in (0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0, 15.0):
            cell = row[f"{aql:g}" if aql not in (1.0, 4.0) else f"{aql:.1f}"]
            plan = plan_for_code(row["code"], aql, Inspection.TIGHTENED)
            if cell in ("dn", "up"):
                assert plan.code != row["code"]
            else:
                assert (plan.code, plan.accept) == (row["code"], int(cell))
            checked += 1
    assert checked == 72


@pytest.mark.parametrize(
    ("code", "aql", "sample", "accept"),
    [("J", 1.0, 80, 2), ("D", 1.0, 13, 0), ("G", 0.65, 20, 0), ("F", 1.0, 13, 0), ("E", 2.5, 20, 1),
     ("H", 0.65, 80, 1), ("K", 1.0, 125, 3), ("F", 4.0, 20, 2), ("H", 2.5, 50, 3), ("L", 1.5, 200, 7)],
)  # fmt: skip
def test_resolved_plans(code, aql, sample, accept):
    """Follow the arrow and take that row's sample size too."""
    plan = plan_for_code(code, aql)
    assert (plan.sample, plan.accept) == (sample, accept)
    assert SAMPLE_SIZES[plan.code] == sample


def test_small_lots_are_inspected_whole():
    """A lot of 8 at AQL 0.65 would need 20: all eight are looked at."""
    plan = plan_for_lot(8, 0.65)
    assert (plan.sample, plan.is_whole_lot) == (8, True)


def test_switching():
    """Two of five rejected: tightened; five in a row accepted: back; five rejected on tightened: stopped."""
    yes, no = True, False
    assert next_inspection(Inspection.NORMAL, [no, yes, yes, yes, no]) is Inspection.TIGHTENED
    assert next_inspection(Inspection.NORMAL, [no, yes, yes, yes, yes, no]) is Inspection.NORMAL
    assert next_inspection(Inspection.TIGHTENED, [no, yes, yes, yes, yes, yes]) is Inspection.NORMAL
    assert next_inspection(Inspection.TIGHTENED, [no, yes] * 4 + [no]) is Inspection.STOPPED
    assert next_inspection(Inspection.TIGHTENED, [yes, no, yes]) is Inspection.TIGHTENED


def test_operating_curve():
    """NIST 6.2.3.2, n 52 c 3, p = 1 .. 12 %."""
    printed = [0.998, 0.980, 0.930, 0.845, 0.739, 0.620, 0.502, 0.394, 0.300, 0.223, 0.162, 0.115]
    assert [accept_chance(52, 3, k / 100) for k in range(1, 13)] == pytest.approx(printed, abs=0.0015)
    worst_in, worst_out = worst_outgoing_quality(10_000, 52, 3)
    assert (worst_in, worst_out) == pytest.approx((0.0559, 0.0372), abs=2e-4)


def test_outgoing_quality():
    """N 5000, n 52, c 2: AOQ at 1.5 % and its worst value."""
    assert outgoing_quality(5000, 52, 2, 0.015) == pytest.approx(0.014201, abs=1e-6)
    assert worst_outgoing_quality(5000, 52, 2) == pytest.approx((0.0430, 0.02603), abs=6e-5)


def test_designs():
    """Smallest plans for two points of the operating curve."""
    plan = smallest_plan(good=0.05, accept_good=0.95, bad=0.15, accept_bad=0.075)
    assert (plan.sample, plan.accept) == (80, 7)
    plan = smallest_plan(good=0.01, accept_good=0.98, bad=0.05, accept_bad=0.15)
    assert (plan.sample, plan.accept) == (144, 4)
    assert 1 - accept_chance(144, 4, 0.01) == pytest.approx(0.01534843, abs=5e-9)
    assert accept_chance(144, 4, 0.05) == pytest.approx(0.1487162, abs=5e-8)


@pytest.mark.parametrize(
    ("lot", "share", "sample"),
    [(100, 0.01, 90), (100, 0.05, 37), (100, 0.10, 20), (300, 0.01, 161), (300, 0.05, 42), (300, 0.10, 22),
     (20, 0.05, 18), (20, 0.10, 14)],
)  # fmt: skip
def test_zero_acceptance(lot, share, sample):
    """Smallest sample that misses all bad pieces with at most 10 %."""
    assert zero_acceptance_sample(lot, share) == sample


def test_plan_by_variables():
    """s-method, n 10 k 1.72 (own computation of the noncentral t formula)."""
    found = [variables_accept_chance(10, 1.72, p) for p in (0.01, 0.02, 0.05, 0.10)]
    assert found == pytest.approx([0.8978, 0.7749, 0.4862, 0.2240], abs=6e-5)
