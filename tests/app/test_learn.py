"""What really happened changes the next plan: job logs its hours and promises, probe readings its opening times."""

from dataclasses import replace

import pytest

from cakewright.app.learn_cooling import take_reading
from cakewright.app.learn_times import take_log
from cakewright.app.learnt_cell import as_recorded, learnt_cell, learnt_words
from cakewright.errors import InputError
from cakewright.physics.buildtime import print_time
from cakewright.store import open_store
from tests.documents.world import week
from tests.store.conftest import NOON


@pytest.fixture
def store(new_database):
    """A database with one planned week."""
    with open_store(new_database) as store:
        plan = week()
        hours = {b.key: print_time(b.profile, plan.cell.machine(b.machine), extra_layers_mm=10.0) for b in plan.builds}
        builds = tuple(replace(b, print_time=hours[b.key]) for b in plan.builds)
        store.save_plan(replace(plan, builds=builds), made_by="Mira", at=NOON)
        yield store


def span_log(path, store, factor, names=("B1", "B2")):
    """Start and end of builds that took `factor` times their plan."""
    plan = store.load_plan()
    rows = ["build,start,end"]
    for name in names:
        seconds = factor * plan.build(name.split("-")[-1]).print_time.total_s
        day = 1 + int(seconds // 86_400)
        clock = f"{int(seconds % 86_400 // 3600):02d}:{int(seconds % 3600 // 60):02d}:{int(seconds % 60):02d}"
        rows.append(f"{name},2027-03-01T00:00:00,2027-03-{day:02d}T{clock}")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def test_a_log_changes_the_hours_and_the_spread_of_the_next_plan(store, tmp_path):
    """Two builds that took 15 % longer: the machine is slower from now on, and the promise knows how sure that is."""
    taken = take_log(span_log(tmp_path / "log.csv", store, 1.15), store, cell=None, plan=None, by="Mira", at=NOON)
    assert {log.build for log in taken.kept} == {"B1", "B2"}
    before = store.load_plan()
    after = as_recorded(before.cell, store)
    machine = after.machine("A1")
    for build in before.builds:
        now = print_time(build.profile, machine, extra_layers_mm=10.0)
        assert 1.08 < now.total_s / build.print_time.total_s < 1.16
        assert now.relative_sigma == store.physics.fits("A1")[-1].relative_sigma != build.print_time.relative_sigma
    assert any("A1: times from its job logs" in words for words in learnt_words(after))


def test_doing_it_twice_changes_nothing_more(store, tmp_path):
    """The cell of a plan already holds what was learnt; it is not multiplied again."""
    take_log(span_log(tmp_path / "log.csv", store, 1.2), store, cell=None, plan=None, by="Mira", at=NOON)
    once = as_recorded(store.load_plan().cell, store)
    assert as_recorded(once, store) == once
    assert learnt_cell(store.load_plan().cell, store.address) == once
    assert learnt_cell(once, tmp_path / "none.sqlite") == once


def test_a_build_is_refitted_when_its_log_comes_again(store, tmp_path):
    """The newest record of a build counts; the older one stays on record."""
    for factor in (1.5, 1.0):
        take_log(span_log(tmp_path / "log.csv", store, factor), store, cell=None, plan=None, by="Mira", at=NOON)
    first, second = store.physics.fits("A1")
    assert first.factors[1][0] > 1.1
    assert second.factors[1][0] == pytest.approx(1.0, abs=0.02)
    assert len(store.physics.logs()) == 2


def test_a_changed_cell_file_keeps_the_learnt_time(store, tmp_path):
    """Somebody writes the real recoat time into the cell file: it is not slowed down a second time."""
    take_log(span_log(tmp_path / "log.csv", store, 1.2), store, cell=None, plan=None, by="Mira", at=NOON)
    cell = store.load_plan().cell
    typed = replace(cell.machines[0], recoat_s=cell.machines[0].recoat_s * 1.3)
    learnt, changed = as_recorded(cell, store), as_recorded(replace(cell, machines=(typed,)), store)
    profile = store.load_plan().builds[0].profile
    seconds = [print_time(profile, c.machine("A1")).total_s for c in (learnt, changed)]
    assert seconds[0] == pytest.approx(seconds[1], rel=1e-6)


def test_layer_logs_and_plan_numbers_are_understood(store, tmp_path):
    """`1-B1` is build B1 of plan 1, layer by layer; strange builds are named and the rest is kept."""
    build = store.load_plan().build("B1")
    rows = ["build,layer,seconds"]
    rows += [f"1-B1,{i + 1},{s * 1.1:.3f}" for i, s in enumerate(build.print_time.layer_s)]
    path = tmp_path / "layers.csv"
    path.write_text("\n".join([*rows, "B77,1,30"]) + "\n", encoding="utf-8")
    taken = take_log(path, store, cell=None, plan=None, by="Mira", at=NOON)
    assert [(log.plan, log.build) for log in taken.kept] == [(1, "B1")]
    assert [f.code for f in taken.findings] == ["joblog.unknown-build"]
    assert store.physics.logs()[0].layer_s.sum() == pytest.approx(1.1 * build.print_time.layer_s.sum(), rel=1e-3)


def test_a_log_of_strangers_is_refused(store, tmp_path):
    """Nothing of the file fits: nothing is kept."""
    path = tmp_path / "log.csv"
    path.write_text("build,start,end\nZ1,2027-03-01T00:00,2027-03-01T09:00\n", encoding="utf-8")
    with pytest.raises(InputError, match="none of its 1 builds"):
        take_log(path, store, cell=None, plan=None, by="Mira", at=NOON)
    with pytest.raises(InputError, match="name"):
        take_log(path, store, cell=None, plan=None, by=" ", at=NOON)
    assert store.physics.logs() == ()


def test_a_colder_cake_teaches_that_the_chamber_is_quicker(store):
    """A core found colder than computed: a number above 1, used by the next plan until the properties change."""
    speed, chamber = take_reading(store, "B1", (95.0, 120.0, 60.0), 5.0, 75.0, by="Mira", at=NOON)
    cell = store.load_plan().cell
    assert (chamber.name, speed.value > 1.0) == ("small", True)
    learnt = as_recorded(cell, store).chamber_type("small")
    assert learnt.cooling_speed == pytest.approx(speed.value)
    assert learnt.cooling_spread == pytest.approx(max(speed.high / speed.value, 1.1))
    other = replace(cell.materials[0], cake_conductivity_w_mk=0.2)
    assert as_recorded(replace(cell, materials=(other,)), store).chamber_type("small").cooling_speed == 1.0


def test_impossible_readings_are_refused_and_not_kept(store):
    """A build that is not there, a temperature that cannot be, a place outside the cake."""
    with pytest.raises(InputError, match="no build"):
        take_reading(store, "B9", None, 5.0, 75.0, by="Mira", at=NOON)
    with pytest.raises(InputError, match="°C"):
        take_reading(store, "B1", None, 5.0, 750.0, by="Mira", at=NOON)
    with pytest.raises(InputError, match="outside"):
        take_reading(store, "B1", (95.0, 120.0, 600.0), 5.0, 75.0, by="Mira", at=NOON)
    assert store.physics.readings() == ()
