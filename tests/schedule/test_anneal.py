"""Annealing of one group of builds: less late, repeatable, stopped when asked, and what is begun stays."""

import numpy as np

from cakewright.schedule.anneal import anneal, lines_of
from cakewright.schedule.bookings import hands_of, stations_of
from cakewright.schedule.starts import annealed, groups_of
from cakewright.stopping import MaxSteps
from tests.schedule.test_starts import in_hand


def late(instance, placed, lines):
    a = instance.arrays
    return a.weight[lines] @ np.maximum(0, placed.ready[lines] - a.due[lines])


def test_annealing_makes_a_group_much_less_late_and_the_same_again():
    """Eight thousand schedules of the small builds of a full cell: half as late as dispatch left them, or better."""
    _, decoder, placed = in_hand(30, 2)
    instance = decoder.instance
    group = max(groups_of(instance), key=lambda g: late(instance, placed, lines_of(instance, set(g.tolist()))))
    lines = lines_of(instance, set(group.tolist()))
    found = [anneal(instance, placed, group, 8000, 5, MaxSteps(100)) for _ in range(2)]
    assert late(instance, found[0][0], lines) < 0.5 * late(instance, placed, lines)
    assert found[0][1] == found[1][1] == 8
    assert np.array_equal(found[0][0].at[group], found[1][0].at[group])


def test_the_hands_of_others_are_left_alone():
    """What one group does is never put where a person or a station is busy with the other group."""
    _, decoder, placed = in_hand(16, 1)
    instance = decoder.instance
    one, other = (set(g.tolist()) for g in groups_of(instance))
    found, _ = anneal(instance, placed, np.array(sorted(one)), 2000, 1, MaxSteps(10))
    for taken in (hands_of, stations_of):
        mine, theirs = taken(instance, found, other), taken(instance, placed, one)
        assert mine and theirs
        for row, start, end in mine:
            assert not [t for t in theirs if t[0] == row and t[1] < end and start < t[2]]


def test_annealing_stops_when_asked_and_is_never_worse():
    """Three thousand schedules are three steps; what is handed back is a whole schedule, no worse than before."""
    _, decoder, placed = in_hand(30, 2)
    instance = decoder.instance
    lines = np.arange(len(instance.lines))
    (found,), steps = annealed(decoder, groups_of(instance), placed, MaxSteps(3), 1)
    assert steps == 3 and late(instance, found, lines) < late(instance, placed, lines)
    (same,), none = annealed(decoder, groups_of(instance), placed, MaxSteps(0), 1)
    assert none == 0 and np.array_equal(same.at, placed.at)
