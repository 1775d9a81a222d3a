"""Lines are distributed over chambers by real nests, and what does not fit is told why."""

import numpy as np
import pytest

from cakewright.errors import InputError
from cakewright.nesting.distribute import Chamber, distribute, improve_shares
from cakewright.nesting.search import TOO_LARGE
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.nesting.verify import verify_nest
from cakewright.stopping import MaxSteps
from tests.conftest import box_mesh

SMALL = NestSpace(24, 24, 40)


def task_of(lines):
    """`lines` is a box and a quantity for each line, numbered from 1; 2 mm apart."""
    meshes = {f"p{n}": box_mesh(*size) for n, (size, _) in enumerate(lines, 1)}
    pieces = [NestPiece(f"L{n}-{i}", f"p{n}", n) for n, (_, quantity) in enumerate(lines, 1) for i in range(quantity)]
    turns = dict.fromkeys(meshes, np.eye(3)[None])
    return NestTask(meshes, pieces, turns, SMALL, 2.0, 1.0)


def spread(lines, chambers, steps=60, **more):
    """A distribution in which every nest is proven and nothing is lost."""
    task = task_of(lines)
    found = distribute(task, chambers, stop=MaxSteps(steps), seed=1, **more)
    placed = 0
    for chamber, made in zip(found.chambers, found.nests, strict=True):
        if made is not None:
            assert verify_nest(task.meshes, made.placements, chamber.space, 2.0, clock=lambda: 0.0).is_clear
            assert all(chamber.takes(p.line) for p in made.placements)
            placed += len(made.placements)
    assert placed + sum(n.pieces for n in found.not_placed) == len(task.pieces)
    return found


CUBE = (10, 10, 10)


def test_two_chambers_hold_what_one_cannot():
    """Twelve cubes fit one chamber; three lines of six need two, and no line is split."""
    found = spread([(CUBE, 6)] * 3, [Chamber("K1", SMALL), Chamber("K2", SMALL)])
    assert not found.not_placed
    homes = [set(found.lines_of(k)) for k in ("K1", "K2")]
    assert not homes[0] & homes[1]
    assert homes[0] | homes[1] == {1, 2, 3}


def test_a_line_too_large_for_a_chamber_is_split_only_when_allowed():
    """Twenty cubes in two chambers of twelve: split, or left out with the missing height."""
    chambers = [Chamber("K1", SMALL), Chamber("K2", SMALL)]
    assert not spread([(CUBE, 20)], chambers).not_placed
    whole = spread([(CUBE, 20)], chambers, may_split=False)
    assert [(n.line, n.pieces) for n in whole.not_placed] == [(1, 20)]
    assert "would have to be 18 mm higher" in whole.not_placed[0].reason


def test_what_is_too_large_or_not_allowed_says_so():
    """A rod longer than the chamber, and a line that no chamber takes."""
    found = spread([((30, 5, 5), 1), (CUBE, 2)], [Chamber("K1", SMALL, frozenset({1}))])
    assert {n.line: n.reason for n in found.not_placed} == {1: TOO_LARGE, 2: "allowed in none of these chambers"}


def test_moving_lines_lowers_the_builds():
    """Two lines of towers and two of plates, put apart badly, end with like beside like."""
    lines = [((10, 22, 30), 2), ((22, 22, 3), 2), ((10, 22, 29), 2), ((22, 22, 3), 2)]
    chambers = [Chamber("K1", NestSpace(24, 24, 90)), Chamber("K2", NestSpace(24, 24, 90))]
    first = spread(lines, chambers, steps=0)
    better = spread(lines, chambers, steps=60)
    assert better.price <= first.price
    assert not better.not_placed


def test_shares_move_until_nothing_helps():
    """Numbers in two bowls: the search evens the sums out and stops by itself."""
    shares, price = improve_shares(
        [[9, 8, 1], [2]], lambda *_: True, lambda s: abs(sum(s[0]) - sum(s[1])), MaxSteps(500), np.random.default_rng(1)
    )
    assert price in {0, 2}
    assert sorted(n for bowl in shares for n in bowl) == [1, 2, 8, 9]


def test_forbidden_moves_are_not_made():
    """What may not go into the second bowl stays in the first, whatever it costs."""
    shares, _ = improve_shares(
        [[9, 8], []], lambda k, n: k == 0 or n == 8, lambda s: abs(sum(s[0]) - sum(s[1])), MaxSteps(50),
        np.random.default_rng(1),
    )  # fmt: skip
    assert shares == [[9], [8]]


def test_no_chamber_is_an_error():
    with pytest.raises(InputError, match="no chamber"):
        distribute(task_of([(CUBE, 1)]), [], stop=MaxSteps(0), seed=1)
