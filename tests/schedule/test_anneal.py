"""Annealing: less late, repeatable, stopped when asked, what is begun stays, and a cut decoding tells the truth."""

from datetime import timedelta

import numpy as np

from cakewright.schedule.anneal import anneal
from cakewright.schedule.cpsat import copy_placed, lateness_of
from cakewright.schedule.decode import TRIAL
from cakewright.schedule.dispatch import Decoder, Orders, dispatch
from cakewright.schedule.exact import rebooked
from cakewright.schedule.generator import made_cell
from cakewright.schedule.moves import campaign, change, first_of_campaign, join, trade, turn
from cakewright.schedule.plan_schedule import judged
from cakewright.schedule.redecode import place_again, shortened, tails_of
from cakewright.schedule.starts import annealed, groups_of
from cakewright.stopping import MaxSteps
from tests.schedule.test_starts import in_hand


def test_annealing_makes_a_week_much_less_late_and_the_same_again():
    """Eight thousand schedules of a full cell: half as late as dispatch left it, or better, and no rule is broken."""
    made, decoder, placed = in_hand(30, 2)
    instance = decoder.instance
    found = [anneal(instance, placed, 8000, 5, MaxSteps(100)) for _ in range(2)]
    assert lateness_of(instance, found[0][0]) < 0.5 * lateness_of(instance, placed)
    assert found[0][1] == found[1][1] == 8
    assert np.array_equal(found[0][0].at, found[1][0].at)
    judged(made.cell, made.builds, made.lines, instance, rebooked(instance, found[0][0]), "annealed", ())


def test_annealing_stops_when_asked_and_is_never_worse():
    """Three quarters of four steps are three, the rest is for parts; what comes back is a whole schedule, no worse."""
    _, decoder, placed = in_hand(30, 2)
    instance = decoder.instance
    (found,), steps = annealed(decoder, groups_of(instance), placed, MaxSteps(4), 1)
    assert steps == 3 and lateness_of(instance, found) < lateness_of(instance, placed)
    (same,), none = annealed(decoder, groups_of(instance), placed, MaxSteps(0), 1)
    assert none == 0 and np.array_equal(same.at, placed.at)


def test_it_cools_as_fast_as_the_time_goes():
    """With a clock that is used up after four steps it makes four of a hundred, colder than four of a long run."""
    _, decoder, placed = in_hand(30, 2)
    instance = decoder.instance
    short, steps = anneal(instance, placed, 100_000, 5, MaxSteps(100), lambda tried: tried / 4)
    cut, _ = anneal(instance, placed, 100_000, 5, MaxSteps(4))
    assert steps == 4 and lateness_of(instance, short) < lateness_of(instance, cut)


def test_a_week_that_is_not_late_is_not_annealed():
    """Nothing to gain: the schedule comes back, no step is counted."""
    _, decoder, placed = in_hand(3, 1)
    assert lateness_of(decoder.instance, placed) == 0
    (same,), steps = annealed(decoder, groups_of(decoder.instance), placed, MaxSteps(100), 1)
    assert same is placed and steps == 0


class Again:
    """Orders of a cell with the places of its builds, and what `place_again` needs around them."""

    def __init__(self, builds=20, seed=3):
        made = made_cell(builds, seed)
        decoder, orders = dispatch(made.cell, made.builds, made.lines, made.start)
        self.instance = decoder.instance
        self.decoder, self.tails = Decoder(self.instance), tails_of(self.instance)
        machines = copy_placed(decoder.schedule(orders)).machine
        self.orders = Orders(orders.builds, machines, orders.lines)
        self.old = np.zeros((builds, TRIAL), np.int64)
        self.cost = self.again(self.orders, 0, self.old)

    def again(self, orders, first, new, limit=np.inf, arrays=None, hope=np.inf, was=None):
        """Cost of orders whose builds before `first` lie as in `old`."""
        lines, trial = np.zeros(len(self.instance.lines), np.int64), np.zeros(TRIAL, np.int64)
        return place_again(
            arrays or self.instance.arrays, self.decoder.placed, orders.builds, orders.machines, orders.lines,
            self.tails, first, self.old, new, lines, trial, *self.decoder.skills, self.decoder.earliness, limit, hope,
            np.zeros(len(lines)) if was is None else was,
        )  # fmt: skip


def test_decoding_from_the_first_change_is_decoding_it_all():
    """Two hundred random changes: the cost from the first change on is that of the whole order, minute by minute."""
    it, rng, tried = Again(), np.random.default_rng(1), 0
    for _ in range(200):
        new = it.orders.copy()
        if not change(rng, it.instance.arrays, new.builds, new.machines, new.lines, 0, 10, 5, np.zeros(20, np.int64)):
            continue
        same = new.machines[it.orders.builds] == it.orders.machines[it.orders.builds]
        same &= new.builds == it.orders.builds
        first = len(same) if same.all() else int(np.argmin(same))
        cost = it.again(new, first, it.old.copy())
        ready = it.decoder.placed.ready.copy()
        assert cost == np.float64(cost) and abs(cost - it.decoder.cost(new)) < 1e-6 * cost
        assert np.array_equal(ready, it.decoder.placed.ready)
        assert sorted(new.builds) == sorted(it.orders.builds) and sorted(new.lines) == sorted(it.orders.lines)
        assert all(it.instance.arrays.printing[b, new.machines[b]] > 0 for b in new.builds)
        tried += 1
    assert tried > 100


def test_a_cut_decoding_is_cut_only_where_it_costs_more():
    """Just above its cost an order is decoded to the end, just below it is refused, far below after fewer builds."""
    it = Again()
    assert it.cost == it.again(it.orders, 0, it.old.copy(), it.cost + 1e-6)
    assert np.isinf(it.again(it.orders, 0, it.old.copy(), it.cost - 1))
    places = np.full_like(it.old, -1)
    assert np.isinf(it.again(it.orders, 0, places, it.cost / 3))
    assert 0 < (places[:, 0] >= 0).sum() < len(places)


def test_an_order_is_given_up_when_the_rest_would_have_to_be_much_better_than_before():
    """Twice as much left as there was: refused before the first build is placed twice, unless there is hope for it."""
    it = Again()
    a, ready = it.instance.arrays, it.decoder.placed.ready
    was = a.weight * (np.maximum(0, ready - a.due) + it.decoder.earliness * ready)
    places = np.full_like(it.old, -1)
    assert it.cost == it.again(it.orders, 0, places, it.cost + 1e-6, hope=1e-3, was=was)
    assert np.isinf(it.again(it.orders, 0, places, it.cost + 1e-6, hope=1e-3, was=2 * was))
    assert it.cost == it.again(it.orders, 0, places, it.cost + 1e-6, hope=it.cost, was=2 * was)


def test_tails_are_the_least_that_follows():
    """Blasting, dyeing, inspection and packing of each line follow its build: never later than it is really ready."""
    it = Again()
    it.decoder.cost(it.orders)
    a, p = it.instance.arrays, it.decoder.placed
    assert len(it.tails.line) == len(a.due)
    for b in range(len(a.load)):
        for e in range(it.tails.at[b], it.tails.at[b + 1]):
            line = it.tails.line[e]
            basket = a.line_basket[a.line_basket_at[line]]  # one for each line here
            steps = slice(a.step_at[basket], a.step_at[basket + 1])
            own = a.step_run[steps].sum() + a.op_hands[a.op_at[line] : a.op_at[line + 1]].sum()
            assert it.tails.minutes[e] == own and p.end[b, 2] + own <= p.ready[line]


def test_a_shortened_calendar_gives_the_same_schedule():
    """Nobody in after the last line changes nothing; nobody in from the third day on leaves no place."""
    it = Again()
    late = int(timedelta(days=3).total_seconds() // 60) + int(it.decoder.placed.ready.max())
    short = shortened(it.instance.arrays, late)
    assert short.used.sum() < it.instance.arrays.used.sum()
    assert it.cost == it.again(it.orders, 0, it.old.copy(), arrays=short)
    assert np.isinf(it.again(it.orders, 0, it.old.copy(), arrays=shortened(it.instance.arrays, 3 * 24 * 60)))


def test_campaigns_are_moved_whole():
    """Six builds on two machines of powders 0 0 1 on one: its campaigns trade places, builds join and trade."""
    a = made_cell_arrays([0, 0, 1, 0, 1, 2])
    builds, scratch = np.arange(6), np.zeros(6, np.int64)
    machines = np.array([0, 1, 0, 0, 0, 1])  # machine 0: builds 0, 2, 3, 4 of powders 0, 1, 0, 1
    assert first_of_campaign(a, builds, machines, 3, 0) == 3 and campaign(a, builds, machines, 0, scratch) == 1
    assert turn(a, builds, machines, 0, scratch) and builds.tolist() == [2, 1, 0, 3, 4, 5]
    assert campaign(a, builds, machines, 2, scratch) == 2 and scratch[:2].tolist() == [0, 3]
    assert not turn(a, builds, machines, 4, scratch)
    assert join(a, builds, machines, 4, 0, True) and builds.tolist() == [2, 4, 1, 0, 3, 5]
    assert trade(a, builds, machines, 2, 4) and builds.tolist() == [2, 4, 3, 0, 1, 5]
    assert machines.tolist() == [0, 0, 0, 1, 0, 1]


def made_cell_arrays(powders):
    """Arrays of some cell with so many builds, the powder of each replaced; every machine prints everything."""
    a = in_hand(len(powders), 1)[1].instance.arrays
    return a._replace(material=np.array(powders), printing=np.ones_like(a.printing))
