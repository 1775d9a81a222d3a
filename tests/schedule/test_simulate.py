"""Simulated weeks against closed forms: what chance says must come out, within what the number of runs allows."""

from dataclasses import replace
from datetime import date, time, timedelta
from itertools import pairwise
from math import ceil, sqrt

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from scipy.stats import norm, triang

from cakewright.errors import CakewrightError, InputError
from cakewright.model.cell import Person, Shift, Utility
from cakewright.model.plan import TaskKind
from cakewright.schedule.doubts import BuildDoubt, LineDoubt, StopPoint, hands_factors, throw, triangular
from cakewright.schedule.plan_schedule import plan_schedule
from cakewright.schedule.simulate import simulate, simulate_failing, simulated_promises, simulated_week
from cakewright.schedule.validate import validate_places
from cakewright.stopping import MaxSteps
from tests.schedule.test_random_cells import worlds
from tests.schedule.worlds import ALL_SKILLS, BLASTED, DAY_SHIFT, DYED, MONDAY, build, cell, line, material

RUNS = 4000
ALWAYS = Person("Ola", ALL_SKILLS, (Shift((0, 1, 2, 3, 4, 5, 6), time(0), time(0)),))


def planned(world, builds, lines):
    schedule, promises = plan_schedule(world, builds, lines, start=MONDAY, stop=MaxSteps(20), seed=1)
    return schedule, {p.line: p for p in promises}


def doubt(key, sigma=0.0, fails=0.0, lines=frozenset({1}), cool_h=8.0):
    cool = round(cool_h * 60)
    return BuildDoubt(key, sigma, (cool, cool, cool), fails, (StopPoint(0.5, 0.5, 1.0, 1.0, lines),) if fails else ())


def test_without_doubt_every_run_is_the_plan():
    """Shared baths, weekdays, portions and several chambers: replayed to the minute."""
    world = cell(machines=2, chambers=3, people=(ALWAYS, replace(ALWAYS, name="Eli")))
    builds = [build(f"B{i}", hours=9 + i, machines=("M1", "M2")) for i in range(6)]
    lines = [line(i, [f"B{i % 6}"] if i % 4 else [f"B{i % 6}", "B5"], finish=(DYED, BLASTED)[i % 2]) for i in range(14)]
    schedule, promises = planned(world, builds, lines)
    weeks = simulate(world, builds, lines, schedule, [], runs=2, seed=1, hands_sigma=0.0)
    for number, promise in promises.items():
        assert weeks.quantile(number, 1.0) == promise.ready, number


def test_print_error_alone_gives_the_normal_law():
    """One build, somebody always in: ready = plan + max(0, sigma P z), so P90 = plan + 1.2816 sigma P.

    Earlier prints gain nothing, since people come at the planned hour: half of the runs are ready as planned. The
    standard error of a quantile at p is sqrt(p (1 - p) / n) / density.
    """
    world, job, wish = cell(people=(ALWAYS,)), build("B1", hours=20.0), line(1, ["B1"])
    schedule, promises = planned(world, [job], [wish])
    weeks = simulate(world, [job], [wish], schedule, [doubt("B1", sigma=0.05)], runs=RUNS, seed=3, hands_sigma=0.0)
    spread = 0.05 * 20 * 60
    late = (weeks.quantile(1, 0.9) - promises[1].ready) / timedelta(minutes=1)
    error = sqrt(0.9 * 0.1 / RUNS) / (norm.pdf(norm.ppf(0.9)) / spread)
    assert late == pytest.approx(norm.ppf(0.9) * spread, abs=4 * error)
    assert weeks.on_time(1, promises[1].ready) == pytest.approx(0.5, abs=4 * sqrt(0.25 / RUNS))


def test_a_line_in_two_builds_escapes_both_failures():
    """Independent failures of chance p: nothing fails with (1 - p)^2, and only then is the line ready as planned."""
    world = cell(machines=2, chambers=4, people=(ALWAYS,))
    builds = [build("B1", machines=("M1",)), build("B2", machines=("M2",))]
    wish = line(1, ["B1", "B2"])
    schedule, promises = planned(world, builds, [wish])
    doubts = [doubt("B1", fails=0.2), doubt("B2", fails=0.2)]
    weeks = simulate(world, builds, [wish], schedule, doubts, runs=RUNS, seed=5, hands_sigma=0.0)
    expected = 0.8**2
    assert weeks.on_time(1, promises[1].ready) == pytest.approx(expected, abs=4 * sqrt(expected * 0.36 / RUNS))
    assert weeks.failed.any(axis=1).mean() == pytest.approx(1 - expected, abs=4 * sqrt(expected * 0.36 / RUNS))


def test_a_failed_build_is_made_again_right_after_the_stop():
    """Load 30 min, stop after 5 of 10 h, 2 h to prepare the remake, load again, 10 h print, 8 h cool, unpack, bench."""
    world, job, wish = cell(people=(ALWAYS,)), build("B1"), line(1, ["B1"])
    schedule, promises = planned(world, [job], [wish])
    weeks = simulate(world, [job], [wish], schedule, [doubt("B1", fails=0.1)], runs=8, seed=1,
                     hands_sigma=0.0, failing="B1")  # fmt: skip
    assert weeks.failed.all()
    lost = 30 + 5 * 60 + 120  # the machine is free again 2 h 20 min after the stop: lifted out after 2 h in it
    assert weeks.quantile(1, 0.5) == promises[1].ready + timedelta(minutes=lost + 20)


def test_failures_laid_out_once_are_the_same_as_one_by_one():
    """A plan laid out once must not remember the failure played before."""
    world, jobs = cell(people=(ALWAYS,)), [build("B1"), build("B2"), build("B3")]
    lines = [line(n, [job.key]) for n, job in enumerate(jobs, start=1)]
    schedule, _ = planned(world, jobs, lines)
    doubts = [doubt(job.key, fails=0.1) for job in jobs]
    keys = ["B3", "B1", "B2", "B1"]
    together = simulate_failing(world, jobs, lines, schedule, doubts, keys, runs=9, seed=4)
    for key, weeks in zip(keys, together, strict=True):
        alone = simulate(world, jobs, lines, schedule, doubts, runs=9, seed=4, failing=key)
        assert np.array_equal(weeks.ready_min, alone.ready_min)
        assert np.array_equal(weeks.failed, alone.failed)
    assert simulate_failing(world, jobs, lines, schedule, doubts, [], runs=9, seed=4) == []


def test_lines_that_are_whole_do_not_wait_for_the_remake():
    """The stop leaves line 1 whole: it comes out of the stopped cake, earlier than line 2 from the remake."""
    world, job = cell(people=(ALWAYS,)), build("B1")
    lines = [line(1, ["B1"]), line(2, ["B1"])]
    schedule, promises = planned(world, [job], lines)
    weeks = simulate(world, [job], lines, schedule, [doubt("B1", fails=0.1, lines=frozenset({2}))], runs=8, seed=1,
                     hands_sigma=0.0, failing="B1")  # fmt: skip
    assert weeks.quantile(1, 0.9) <= promises[1].ready + timedelta(minutes=20)  # Ola loads the remake in between
    assert weeks.quantile(2, 0.1) > promises[2].ready


def test_pieces_that_fail_at_the_bench_cost_a_second_round():
    """A line comes up short in 30 % of the runs; then, with no later build, everything takes as long once more."""
    world, job, wish = cell(people=(ALWAYS,)), build("B1"), line(1, ["B1"])
    schedule, promises = planned(world, [job], [wish])
    weeks = simulate(world, [job], [wish], schedule, [], [LineDoubt(1, 0.3)], runs=RUNS, seed=2, hands_sigma=0.0)
    assert weeks.on_time(1, promises[1].ready) == pytest.approx(0.7, abs=4 * sqrt(0.21 / RUNS))
    assert weeks.quantile(1, 1.0) == promises[1].ready + (promises[1].ready - MONDAY)


def test_nobody_in_at_night_makes_small_errors_cost_a_night():
    """A print that ends an hour late costs nothing until it misses the last hour somebody is in."""
    world, job, wish = cell(), build("B1", hours=6.0, cool_h=0.5), line(1, ["B1"], 5)
    schedule, promises = planned(world, [job], [wish])
    weeks = simulate(world, [job], [wish], schedule, [doubt("B1", 0.1, cool_h=0.5)], runs=400, seed=1, hands_sigma=0.0)
    assert weeks.quantile(1, 0.5) == promises[1].ready or weeks.quantile(1, 0.9) > promises[1].ready
    hours = {weeks.quantile(1, share).hour for share in np.linspace(0.05, 1, 20)}
    assert all(8 <= hour <= 16 for hour in hours)


def test_the_dice_belong_to_the_build_and_not_to_its_place():
    """Another build in the list changes nothing for those that were there: what-ifs differ by what was changed."""
    few, many = throw(["B1", "B2"], [7], 50, 9), throw(["B9", "B2", "B1"], [3, 7], 50, 9)
    assert np.array_equal(few.printing[:, 0], many.printing[:, 2])
    assert np.array_equal(few.line_hands[:, 0], many.line_hands[:, 1])
    assert not np.array_equal(few.printing[:, 0], throw(["B1"], [7], 50, 10).printing[:, 0])


def test_triangular_draws_follow_the_law():
    """Kolmogorov distance to scipy's triangular law below the 99.9 % bound 1.95 / sqrt(n)."""
    even = np.sort(np.random.default_rng(1).random(RUNS))
    drawn = np.sort(triangular(even, np.array([[300.0, 400.0, 700.0]]))[:, 0])
    law = triang(0.25, loc=300, scale=400)
    assert np.abs(law.cdf(drawn) - (np.arange(RUNS) + 0.5) / RUNS).max() < 1.95 / sqrt(RUNS)
    assert triangular(even, np.array([[5.0, 5.0, 5.0]])).std() < 1e-9


def test_hands_take_as_long_as_planned_on_average():
    """The lognormal factor has mean 1."""
    factors = hands_factors(np.random.default_rng(1).standard_normal(RUNS), 0.25)
    assert factors.mean() == pytest.approx(1.0, abs=4 * 0.26 / sqrt(RUNS))


def test_promises_carry_what_the_weeks_say():
    """P50, P90, chance and the date after a failure; a line that is in no build stays without."""
    world, job, lines = cell(people=(ALWAYS,)), build("B1"), [line(1, ["B1"], 1.2), line(2, [])]
    schedule, promises = planned(world, [job], lines)
    doubts = [doubt("B1", 0.03, 0.1)]
    weeks = simulate(world, [job], lines, schedule, doubts, runs=300, seed=1)
    failed = simulate(world, [job], lines, schedule, doubts, runs=20, seed=1, failing="B1")
    made = simulated_promises([promises[1], promises[2]], weeks, {"B1": failed}, {1: ["B1"]})
    assert promises[1].ready <= made[0].p50 <= made[0].p90 <= made[0].if_fails
    assert 0 < made[0].on_time_probability < 1
    assert made[1] == promises[2]


@pytest.mark.parametrize(("fails", "cool"), [(1.0, (1, 2, 3)), (-0.1, (1, 2, 3)), (0.1, (3, 2, 1)), (0.1, (1, 2, 3))])
def test_doubts_that_cannot_be_meant_are_refused(fails, cool):
    """A certain failure, a negative chance, cooling out of order, a failure without a stop."""
    with pytest.raises(InputError):
        BuildDoubt("B1", 0.05, cool, fails)


def test_quantiles_are_order_statistics():
    """The 90 % point of 10 runs is the ninth."""
    world, job, wish = cell(people=(ALWAYS,)), build("B1"), line(1, ["B1"])
    schedule, _ = planned(world, [job], [wish])
    weeks = simulate(world, [job], [wish], schedule, [doubt("B1", 0.1)], runs=10, seed=1)
    ordered = sorted(weeks.ready_min[:, 0])
    assert weeks.quantile(1, 0.9) == MONDAY + timedelta(minutes=int(ordered[ceil(0.9 * 10) - 1]))


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(worlds())
def test_any_plan_is_replayed_to_the_minute(case):
    """Two materials, services, tests, shared baths, absences: without doubts the simulated week is the plan."""
    world, builds, lines, start = case
    try:
        schedule, promises = plan_schedule(world, builds, lines, start=start, stop=MaxSteps(5), seed=1)
    except CakewrightError:
        return  # refused with a reason: there is nothing to replay
    ready = {p.line: p.ready for p in promises}
    weeks = simulate(world, builds, lines, schedule, [], runs=1, seed=1, hands_sigma=0.0)
    for number in weeks.lines:
        assert weeks.quantile(number, 1.0) == ready[number], number


def doubtful(job, lines):
    """A print that errs by a tenth and stops every third time, a cake that cools as it likes."""
    cool = (round(0.8 * job.cool_min), job.cool_min, round(1.4 * job.cool_min))
    stops = tuple(StopPoint(q / 4, q / 4, 1 - q / 5, 1 - q / 5, frozenset(lines)) for q in (1, 2, 3))
    return BuildDoubt(job.key, 0.1, cool, 0.35, stops)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(worlds())
def test_every_simulated_week_can_be_carried_out(case):
    """Late prints, stops and remakes among closures, services, changes, powder and utilities: the judge finds nothing.

    Only one thing is beyond everybody: a cake that lies in a machine or chamber longer than foreseen when it was loaded
    may lie there when a closure begins.
    """
    world, builds, lines, start = case
    try:
        schedule, _ = plan_schedule(world, builds, lines, start=start, stop=MaxSteps(5), seed=1)
    except CakewrightError:
        return
    doubts = [doubtful(job, [w.line for w in lines if job.key in w.builds]) for job in builds]
    for run in range(6):
        jobs, week = simulated_week(world, builds, lines, schedule, doubts, runs=6, run=run, seed=4)
        found = validate_places(world, jobs, lines, week)
        assert [f.text for f in found if not (f.code == "schedule.out-of-use" and f.where.startswith("build"))] == []


def test_a_late_print_waits_for_the_holiday_to_pass():
    """Planned to be unpacked on Tuesday; when the print is late nobody opens the cake on the closed Wednesday."""
    world = cell(people=(Person("Ada", ALL_SKILLS, (DAY_SHIFT,)),), holidays=(date(2027, 3, 3),))
    job, wish = build("B1", hours=14.0, cool_h=6.0), line(1, ["B1"], 5)
    schedule, _ = planned(world, [job], [wish])
    doubts = [doubt("B1", sigma=0.4, cool_h=6.0)]
    for run in range(40):
        _, week = simulated_week(world, [job], [wish], schedule, doubts, runs=40, run=run, seed=2)
        assert not [t for t in week.tasks if t.people and t.start.date() == date(2027, 3, 3)]


def test_a_remake_waits_for_the_line_that_carries_one_machine():
    """Two machines on a weak supply: never do two prints of a simulated week overlap."""
    world = cell(machines=2, chambers=4, people=(ALWAYS,))
    machines = tuple(replace(m, utilities=("power",)) for m in world.machines)
    world = replace(world, machines=machines, utilities=(Utility("power", 1),))
    builds = [build(f"B{i}", machines=("M1", "M2")) for i in range(4)]
    lines = [line(i + 1, [f"B{i}"]) for i in range(4)]
    schedule, _ = planned(world, builds, lines)
    doubts = [doubtful(b, [i + 1]) for i, b in enumerate(builds)]
    tries = 0
    for run in range(20):
        jobs, week = simulated_week(world, builds, lines, schedule, doubts, runs=20, run=run, seed=7)
        prints = sorted((t.start, t.end) for t in week.tasks if t.kind is TaskKind.PRINT)
        assert all(a[1] <= b[0] for a, b in pairwise(prints))
        tries += len(jobs) - 4
    assert tries > 5


def test_changes_of_powder_come_when_remakes_stand_in_between():
    """The judge finds a change of a day before every loading of another powder, remakes included."""
    other = replace(material("PA11"))
    world = cell(machines=1, chambers=3, people=(ALWAYS,))
    machines = tuple(replace(m, other_materials=("PA11",), changeover_min=600) for m in world.machines)
    chambers = tuple(replace(c, other_materials=("PA11",)) for c in world.chambers)
    world = replace(world, machines=machines, chambers=chambers, materials=(*world.materials, other))
    builds = [build("B1"), build("B2", material="PA11"), build("B3")]
    lines = [line(i + 1, [f"B{i + 1}"]) for i in range(3)]
    schedule, _ = planned(world, builds, lines)
    changed = 0
    for run in range(20):
        doubts = [doubtful(b, [i + 1]) for i, b in enumerate(builds)]
        jobs, week = simulated_week(world, builds, lines, schedule, doubts, runs=20, run=run, seed=7)
        assert validate_places(world, jobs, lines, week) == ()
        changed += sum(t.kind is TaskKind.CHANGE for t in week.tasks)
    assert changed >= 20
