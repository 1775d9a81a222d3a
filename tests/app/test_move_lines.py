"""Lines move between proposed builds only for the better, and nothing is lost on the way."""

from __future__ import annotations

from types import SimpleNamespace

from cakewright.app.move_lines import move_lines
from cakewright.app.plan_build import Batch
from cakewright.nesting.task import NestPiece
from cakewright.stopping import MaxSteps


def batch(key, lines):
    """A batch of one piece for each of the lines."""
    pieces = tuple(NestPiece(f"L{n:02d}-1", f"L{n:02d}", n) for n in lines)
    return Batch(key, SimpleNamespace(name="M1"), pieces, f"why {key}", tuple((n, f"line {n} in {key}") for n in lines))


def uneven(batches):
    """Cost of builds whose line numbers should add up to the same; three lines do not fit into one chamber."""
    if any(len(b.lines) > 2 for b in batches):
        return float("inf")
    sums = [sum(b.lines) for b in batches]
    return max(sums) - min(sums)


def test_lines_change_places_when_that_is_better():
    """1 + 2 against 3 + 4 becomes 1 + 4 against 2 + 3; a moved line says why and where it came from."""
    better, cost = move_lines([batch("B1", [1, 2]), batch("B2", [3, 4])], uneven, MaxSteps(100), 1)
    assert cost == 0
    assert sorted(b.lines for b in better) == [(1, 4), (2, 3)]
    said = {n: why for b in better for n, why in b.line_reasons}
    assert sorted(said) == [1, 2, 3, 4]
    assert sum(why.startswith("moved to this build") for why in said.values()) == 2


def test_without_steps_everything_stays():
    old = [batch("B1", [1, 2]), batch("B2", [3, 4])]
    same, cost = move_lines(old, uneven, MaxSteps(0), 1)
    assert cost == 4
    assert [b.line_reasons for b in same] == [b.line_reasons for b in old]


def test_an_emptied_build_is_dropped():
    """When one build is cheaper than two, the second goes."""
    better, _ = move_lines([batch("B1", [1]), batch("B2", [2])], lambda b: 10.0 * len(b), MaxSteps(20), 1)
    assert [b.lines for b in better] == [(1, 2)]
