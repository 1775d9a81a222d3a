"""Batches: what belongs together, and what it costs to fill a chamber."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from cakewright.errors import DoesNotFitError, InputError
from cakewright.schedule.batching import BatchLine, BatchSpace, propose_batches, staffed_hours
from cakewright.stopping import MaxSteps
from tests.schedule.worlds import MONDAY, cell

SPACE = BatchSpace("M1", 180, 230, 300, 1.5, 0.055, 1.0, lambda h: 4 + 0.03 * h)


def batch_line(number, envelope_l=2.0, height=40.0, due_days=5.0, **changes):
    given = BatchLine(number, 10, envelope_l, envelope_l / 8, height, MONDAY, MONDAY + timedelta(days=due_days), 1.0)
    return replace(given, **changes)


def propose(lines, spaces=(SPACE,), chambers=2, factor=2.0, price=2.0, steps=4000, **more):
    options = {"start": MONDAY, "stop": MaxSteps(steps), "seed": 1, "hours": staffed_hours(cell(), MONDAY)} | more
    return propose_batches(lines, spaces, chambers, factor, price, **options)


def test_small_lines_with_time_share_one_build():
    """Nothing is urgent and a build costs something: one build."""
    (batch,) = propose([batch_line(i, 0.5, 30, 30) for i in range(6)])
    assert batch.lines == (0, 1, 2, 3, 4, 5)
    assert batch.estimated_height_mm == pytest.approx(6 * 0.5e6 * 2 / (180 * 230))


def test_an_urgent_flat_line_does_not_ride_under_a_tall_one():
    """The tall line would take the flat urgent one through a long print and a long cooling."""
    tall, flat = batch_line(1, 2, 280, 20), batch_line(2, 0.5, 30, 1.1, weight=5)
    batches = propose([tall, flat])
    assert [b.lines for b in batches] == [(2,), (1,)]


def test_every_piece_is_in_exactly_one_batch():
    lines = [batch_line(i, 1 + i % 3, 20 + 15 * (i % 7), 2 + i % 9, pieces=7 + i) for i in range(25)]
    batches = propose(lines)
    total = {line.line: 0 for line in lines}
    for batch in batches:
        for number, count in batch.pieces:
            total[number] += count
    assert total == {line.line: line.pieces for line in lines}
    assert all(b.estimated_height_mm <= SPACE.usable_height_mm for b in batches)


def test_a_line_too_big_for_a_chamber_is_spread():
    """20 litres of envelope at factor 2 do not go into 12.4 litres."""
    batches = propose([batch_line(1, 20.0, 50, pieces=100)])
    assert len(batches) >= 4 and sum(c for b in batches for _, c in b.pieces) == 100


def test_a_set_that_a_nest_refused_is_not_proposed_again():
    lines = [batch_line(i, 0.5, 30, 30) for i in range(4)]
    batches = propose(lines, too_much=[frozenset({0, 1, 2, 3})])
    assert len(batches) == 2


def test_a_learned_factor_counts_for_its_line():
    """A hollow line that gives its inside back needs less height."""
    (solid,) = propose([batch_line(1, 3.0)])
    (hollow,) = propose([batch_line(1, 3.0)], factor={1: 0.8})
    assert hollow.estimated_height_mm < solid.estimated_height_mm


def test_a_high_price_for_a_build_makes_fewer_builds():
    lines = [batch_line(i, 1.0, 20 + 20 * i, 1 + i / 3, weight=2) for i in range(10)]
    assert len(propose(lines, price=2000)) < len(propose(lines, price=0.1))


def test_searching_beats_filling_chambers_by_due_date():
    """Zero steps fill the chamber by due date; the search parts tall from flat and leaves fewer lines late."""

    def late(steps):
        return sum("late" in why for b in propose(lines, steps=steps) for _, why in b.line_reasons)

    flat = [batch_line(i, 0.3, 30, 1.0 + i / 99) for i in range(5)]
    tall = [batch_line(9 + i, 1.0, 250 + i, 3.0) for i in range(4)]
    lines = flat + tall
    assert late(20000) < late(0)


def test_reasons_name_what_sets_the_height_and_the_dates():
    (batch,) = propose([batch_line(1, 1, 120, 9), batch_line(2, 0.5, 30, 12)], price=500)
    assert "line 1 is the tallest" in batch.reason and "line 1 is due first" in batch.reason
    reasons = dict(batch.line_reasons)
    assert reasons[1].startswith("adds ") and reasons[2].startswith("adds no height")


def test_same_seed_same_batches():
    lines = [batch_line(i, 1 + i % 2, 20 + 30 * (i % 5), 1 + i / 4) for i in range(12)]
    assert propose(lines, seed=5) == propose(lines, seed=5)


def test_what_cannot_be_batched_is_refused():
    with pytest.raises(DoesNotFitError, match="400 mm"):
        propose([batch_line(1, 1, 400)])
    with pytest.raises(InputError):
        propose([batch_line(1)], spaces=())
    assert propose([]) == ()


def test_staffed_hours_leave_out_the_lunch_break():
    first, second = staffed_hours(cell(), MONDAY, days=1)
    assert first == (MONDAY, datetime(2027, 3, 1, 12, 0, tzinfo=UTC))
    assert second[0] == datetime(2027, 3, 1, 12, 30, tzinfo=UTC)
