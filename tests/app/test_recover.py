"""Accepting a way out: a new plan version in which every ordered piece is made, the old one untouched."""

from collections import Counter
from datetime import timedelta

import pytest

from cakewright.app import plan_build, stopped_heat
from cakewright.app.effort import effort_in_steps
from cakewright.app.failure_desk import Cause, failure_desk
from cakewright.app.recover import accept_recovery
from cakewright.errors import InputError
from cakewright.model.plan import TaskKind
from cakewright.store import open_store
from tests.app.running import MONDAY, running_week, task

HOUR = timedelta(hours=1)


@pytest.fixture(scope="module")
def quick_heat():
    """Cooling as a block that starts hot: the full heat model takes half a minute and has tests of its own."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(plan_build, "heat_build", lambda meshes, placed, profile, hours, machine, cell: (
            plan_build.quick_cooling(profile, machine, cell), None))  # fmt: skip
        patch.setattr(stopped_heat, "heat_build", plan_build.heat_build)
        yield


@pytest.fixture(scope="module")
def world(tmp_path_factory, quick_heat):
    """The first build stopped at half its layers and was made again at once."""
    plan = running_week()
    first = min(plan.builds, key=lambda b: task(plan, b.key, TaskKind.LOAD).start)
    now = task(plan, first.key, TaskKind.PRINT).start + 2 * HOUR
    store = open_store(tmp_path_factory.mktemp("stop") / "cell.sqlite")
    version = store.save_plan(plan, made_by="Mira", at=MONDAY)
    plan = store.load_plan(version)
    desk = failure_desk(plan, first.key, first.profile.layers // 2, Cause.POWER, now=now)
    done = accept_recovery(store, plan, desk, "again-now", effort=effort_in_steps(20), by="Dev", at=now)
    yield store, plan, first, desk, done
    store.close()


def test_every_piece_is_whole_or_made_again(world):
    """Per line: as many pieces as before; those that were lost carry an R and stand in the remake."""
    store, plan, _, desk, done = world
    new = store.load_plan(done.plan)
    before = Counter(p.line for b in plan.builds for p in b.nest.placements)
    after = Counter(p.line for b in new.builds for p in b.nest.placements)
    assert after == before
    remake = new.build(done.remake)
    owed = {n.line: n.again for n in desk.after.lines if n.again}
    assert Counter(p.line for p in remake.nest.placements) == owed
    assert all(p.piece.endswith("R") for p in remake.nest.placements)
    assert remake.verification.is_clear


def test_lines_keep_their_due_day_and_get_a_date(world):
    """The remake inherits: no line has another due instant than before, each has a simulated date after the remake."""
    store, plan, _, desk, done = world
    new = store.load_plan(done.plan)
    assert {p.line: p.due_by for p in new.promises} == {p.line: p.due_by for p in plan.promises}
    unpacked = task(new, done.remake, TaskKind.UNPACK).end
    for n in (x.line for x in desk.after.lines if x.again):
        assert new.promise(n).ready > unpacked
        assert new.promise(n).p90 >= new.promise(n).ready


def test_the_stop_is_on_record_and_the_old_plan_as_it_was(world):
    """Cause, layer, recovery and new plan; version 1 is unchanged."""
    store, plan, first, desk, done = world
    (stop,) = store.schedule.stops()
    assert (stop.build, stop.layer, stop.cause, stop.new_plan) == (
        first.key, desk.after.layer, "power cut", done.plan,
    )  # fmt: skip
    assert store.load_plan(plan.version).schedule == plan.schedule
    assert store.load_plan(done.plan).build(first.key).profile.layers == desk.after.layer


def test_a_way_that_was_not_offered_is_refused(world):
    """And nothing is kept."""
    store, plan, _, desk, done = world
    with pytest.raises(InputError, match="no way out"):
        accept_recovery(store, plan, desk, "magic", effort=effort_in_steps(5), by="Dev", at=desk.at)
    assert store.newest() == done.plan
