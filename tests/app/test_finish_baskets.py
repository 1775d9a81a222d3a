"""Finishing baskets of the small invented week: what lies together, what must not, start and end."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from cakewright.app import finish_baskets as fb
from cakewright.app.contain import suspects
from cakewright.errors import InputError
from cakewright.findings import Finding, Severity
from cakewright.model.cell import Station
from cakewright.store import open_store
from tests.documents.world import START, week

NOW = START + timedelta(hours=29)
TWINS = Finding("identity.mirror", Severity.WARNING, "plate and knob are mirror images", "lines 1 and 2", "mark one")


@pytest.fixture
def store(new_database):
    with open_store(new_database) as store:
        store.save_plan(week(), made_by="Mira", at=START)
        yield store


@pytest.fixture
def plan():
    return replace(week(), version=1)


def begin(store, plan, lines, **more):
    name = fb.finish_baskets(store, plan)[0].name
    return fb.start_basket(store, plan, name, lines, by="Mira", at=NOW, station="cabinet", **more)


def test_only_lines_with_a_finish_lie_in_a_basket(store, plan):
    """Of four lines of the task two have steps; pieces, litres and cautions of the step come with them."""
    (basket,) = fb.finish_baskets(store, plan)
    assert [s.line for s in basket.shares] == [1, 2]
    assert [s.pieces for s in basket.shares] == [4, 6]
    assert basket.litres > 0.1
    assert basket.confusable == ()
    assert basket.split == ((1, 2),)
    assert basket.steps[0].cautions[0].key == "blast-media"


def test_look_alikes_are_split_and_refused_together(store, plan):
    """A pair the plan found to be mirror twins: two groups, refused in one go unless somebody says how it is done."""
    plan = replace(plan, findings=(*plan.findings, TWINS))
    (basket,) = fb.finish_baskets(store, plan)
    assert [(p.first, p.second, p.how) for p in basket.confusable] == [(1, 2, "mirror")]
    assert basket.split == ((1,), (2,))
    with pytest.raises(InputError, match="hard to tell apart"):
        begin(store, plan, [1, 2])
    begin(store, plan, [1])
    assert begin(store, plan, [1, 2], kept_apart="L02 in a net bag").data["kept_apart"] == "L02 in a net bag"


def test_a_basket_begins_and_ends_once(store, plan):
    """What is kept: lines, finish, media, litres; it ends once; a strange basket, line or station is refused."""
    kept = begin(store, plan, [1, 2], media=fb.MEDIA)
    assert (kept.data["lines"], kept.build) == ("1 2", "B1")
    assert kept.data["media"] == fb.MEDIA
    fb.end_basket(store, plan, kept.uid, by="Mira", at=NOW + timedelta(minutes=10), found="dust in the bores")
    (run,) = fb.basket_runs(store, plan)
    assert (run.lines, run.ended.data["found"]) == ((1, 2), "dust in the bores")
    with pytest.raises(InputError, match="is out since"):
        fb.end_basket(store, plan, kept.uid, by="Mira", at=NOW)
    with pytest.raises(InputError, match="never begun"):
        fb.end_basket(store, plan, "no-such-record", by="Mira", at=NOW)
    for lines in ([], [3], [1, 99]):
        with pytest.raises(InputError, match="are not what"):
            begin(store, plan, lines)
    with pytest.raises(InputError, match="does not go to"):
        fb.start_basket(store, plan, str(kept.data["basket"]), [1], by="Mira", at=NOW, station="pot")
    assert fb.last_in(store, plan)["cabinet"].uid == kept.uid


def test_what_shared_a_basket_is_suspect(store, plan):
    """Containment by basket finds the company that the record names."""
    begin(store, plan, [1, 2])
    why = {s.line: s.why for s in suspects(store, plan, "L01-01")}
    assert "same basket" in why[2]
    assert "same basket" not in why[3]


def test_more_than_the_station_holds(store, plan):
    """A cabinet of a tenth of a litre: named on the page, refused at the start."""
    stations = (Station("bench", "unpack"), Station("cabinet", "blast", (), 0.1), Station("pot", "dye", (), 12))
    plan = replace(plan, cell=replace(plan.cell, stations=stations))
    (basket,) = fb.finish_baskets(store, plan)
    assert basket.too_full == ("cabinet",)
    with pytest.raises(InputError, match="do not fit into cabinet"):
        begin(store, plan, [1, 2])


def test_a_line_in_two_baskets_and_a_shared_bath(store, plan):
    """Two baskets dyed at once: pieces are split evenly, and look-alikes are seen across the two."""
    task = next(t for t in plan.schedule.tasks if t.kind.value == "finish")
    both = [replace(task, lines=(1, n), label=f"basket {n}: dye, shared bath", station="pot") for n in (2,)]
    both.append(replace(task, lines=(1,), label="basket 9: dye, shared bath", station="pot"))
    both.append(replace(both[0], label="basket 2: dye, shared bath runs by itself", start=task.end, people=()))
    others = tuple(t for t in plan.schedule.tasks if t.kind.value != "finish")
    plan = replace(plan, schedule=replace(plan.schedule, tasks=(*others, *both)), findings=(TWINS,))
    two, nine = fb.finish_baskets(store, plan)
    assert ([s.pieces for s in two.shares], [s.pieces for s in nine.shares]) == ([2, 6], [2])
    assert (len(two.steps), two.steps[0].kind) == (1, "dye")
    assert nine.steps[0].company == (2,)
    assert [p.how for p in nine.confusable] == ["mirror"]
    assert [c.key for c in nine.steps[0].cautions] == ["bath"]


def test_three_in_a_ring_need_three_groups():
    """Each looks like the other two: three groups; a fourth line goes with the first."""
    pairs = [fb.Confusable(a, b, "near", "") for a, b in ((1, 2), (2, 3), (1, 3))]
    groups = fb.apart((1, 2, 3, 4), pairs)
    assert sorted(map(len, groups)) == [1, 1, 2]
    assert fb.apart((1, 3), pairs[:1]) == ((1, 3),)


def test_fragile_parts_do_not_lie_among_sturdy_ones(store, plan):
    """The knob is fragile: a group of its own; together only when somebody says how they are kept apart."""
    key = plan.part_of_line[2]
    plan = replace(plan, parts={**plan.parts, key: replace(plan.parts[key], is_delicate=True)})
    (basket,) = fb.finish_baskets(store, plan)
    assert (basket.delicate, basket.is_mixed, basket.confusable) == ((2,), True, ())
    assert set(basket.split) == {(1,), (2,)}
    with pytest.raises(InputError, match="fragile parts of line 2 would lie among sturdy ones"):
        begin(store, plan, [1, 2])
    begin(store, plan, [2])
    assert begin(store, plan, [1, 2], kept_apart="knobs in an insert").data["kept_apart"] == "knobs in an insert"
