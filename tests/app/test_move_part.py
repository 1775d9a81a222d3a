"""Pieces moved by hand are judged exactly, kept as a version, and pins are left where they stand."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cakewright.app.effort import effort_in_steps
from cakewright.app.keep_nest import keep_nest
from cakewright.app.move_part import Move, Turn, move_parts, moved_placements
from cakewright.app.nest_around import nested_around
from cakewright.app.plan_build import nest_space
from cakewright.errors import CakewrightError, InputError
from cakewright.model.part import Freedom, OrientationRule
from cakewright.nesting.verify import verify_nest
from cakewright.stopping import MaxSteps
from cakewright.store import open_store
from tests.app.hand_nest import hand_week
from tests.app.running import MONDAY

BEFORE = MONDAY - timedelta(hours=1)


@pytest.fixture(scope="module")
def plan():
    return hand_week()


def judged(plan, *moves):
    return move_parts(plan, plan.builds[0], moves)


def test_a_piece_moved_to_a_free_place_is_clear(plan):
    """The knob goes 20 mm further back: nothing is wrong, and the closest gap is measured."""
    found = judged(plan, Move("L02-01", y_mm=36.0))
    assert found.is_good
    knob = next(p for p in found.placements if p.piece == "L02-01")
    assert knob.translation == pytest.approx([100, 50, 9.5])
    assert found.moved == ("L02-01",)


def test_too_near_is_said_in_millimetres(plan):
    """A knob 3.5 mm beside a plate is 1.5 mm short of the 5 mm asked."""
    found = judged(plan, Move("L02-01", x_mm=73.5))
    (wrong,) = found.wrongs
    assert (wrong.kind, wrong.piece, wrong.other) == ("near", "L02-01", "L01-01")
    assert wrong.found_mm == pytest.approx(3.5, abs=1e-6)
    assert "3.50 mm" in wrong.words
    assert "1.50 mm more" in wrong.words


def test_each_wall_is_named(plan):
    """Left, right, front, back, floor and ceiling, with the depth in mm; margins belong to the walls."""
    asked = {"left wall by 4.00": Move("L04-02", x_mm=2.0), "right wall by 2.00": Move("L03-01", x_mm=146.0),
             "front wall by 1.00": Move("L02-01", y_mm=5.0), "back wall by 3.00": Move("L04-01", y_mm=193.0),
             "floor by 0.50": Move("L02-01", z_mm=-0.5), "ceiling by 8.00": Move("L03-01", z_mm=205.0)}  # fmt: skip
    for words, move in asked.items():
        walls = [w.words for w in judged(plan, move).wrongs if w.kind == "wall"]
        assert any(words in said for said in walls), (words, walls)


def test_linked_rings_are_clear_but_held(plan):
    """Ring 2 through the hole of ring 1 keeps 10 mm all around and can never be taken out: a link of a chain."""
    found = judged(plan, Move("L04-01", z_mm=18.0), Move("L04-02", x_mm=96.0, y_mm=176.0, z_mm=0.0))
    assert [w.kind for w in found.wrongs] == ["stuck"]
    assert "cannot be taken apart" in found.wrongs[0].words


def test_a_forbidden_turn_is_named(plan):
    """A part that must stand upright may be turned about the vertical and not tipped."""
    rule = OrientationRule(Freedom.ABOUT_Z, "visible top side")
    plan = replace(plan, parts={**plan.parts, "knob": replace(plan.parts["knob"], orientation=rule)})
    assert judged(plan, Move("L02-01", turns=(Turn("z", 15),))).is_good
    tipped = judged(plan, Move("L02-01", z_mm=0.0, turns=(Turn("x", 90),)))
    assert [w.kind for w in tipped.wrongs] == ["turn"]
    assert "visible top side" in tipped.wrongs[0].words


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.sampled_from("xyz"), st.floats(-360, 360)), max_size=6), st.floats(-50, 200))
def test_turning_keeps_the_middle_and_undoes(turns, x):
    """Turns leave the middle of the box where it was; the typed corner is exact; turning back gives the old place."""
    plan = hand_plan()
    placements = plan.builds[0].nest.placements
    meshes = {key: part.mesh for key, part in plan.parts.items()}
    forth = tuple(Turn(a, d) for a, d in turns)
    back = tuple(Turn(a, -d) for a, d in reversed(turns))
    out, _ = moved_placements(placements, meshes, [Move("L05-01", x_mm=x, turns=forth)])
    clip = next(p for p in out if p.piece == "L05-01")
    box = meshes["clip"].placed(clip.rotation, clip.translation).box_mm
    assert box[0, 0] == pytest.approx(x, abs=1e-9)
    assert (box.sum(axis=0) / 2)[1:] == pytest.approx([60, 11], abs=1e-9)
    again, _ = moved_placements(out, meshes, [Move("L05-01", x_mm=147.0, turns=back)])
    home = next(p for p in again if p.piece == "L05-01")
    assert home.rotation == pytest.approx(np.eye(3), abs=1e-9)
    assert home.translation == pytest.approx([150, 60, 11], abs=1e-6)


_PLANS = []


def hand_plan():
    if not _PLANS:
        _PLANS.append(hand_week())
    return _PLANS[0]


def test_only_near_pairs_agrees_with_the_whole_check(plan):
    """What the quick check says of moved pieces is what the check of everything says."""
    rng = np.random.default_rng(4)
    build = plan.builds[0]
    space = nest_space(plan.cell.chamber_types[0], plan.cell.machines[0])
    meshes = {key: part.mesh for key, part in plan.parts.items()}
    seen = 0
    for _ in range(25):
        name = rng.choice([p.piece for p in build.nest.placements])
        move = Move(str(name), *(float(v) for v in rng.uniform(0, (120, 150, 25))))
        found = judged(plan, move)
        whole = verify_nest(meshes, found.placements, space, build.nest.clearance_mm, clock=lambda: 0.0)
        told = {(w.piece, w.other) for w in found.wrongs if w.kind == "near"}
        assert {frozenset(pair) for pair in told} == {frozenset((v.first, v.second)) for v in whole.violations}
        assert {w.piece for w in found.wrongs if w.kind == "wall"} == {piece for piece, _ in whole.outside}
        seen += len(told)
    assert seen > 5


@pytest.mark.parametrize(
    ("move", "said"),
    [(Move("L99-01"), "no piece L99-01"), (Move("L02-01", x_mm=float("nan")), "nowhere"),
     (Move("L02-01", turns=(Turn("z", float("inf")),)), "nowhere")],
)  # fmt: skip
def test_moves_to_nowhere_are_refused(plan, move, said):
    """Names that are not there and numbers that are none."""
    with pytest.raises(InputError, match=said):
        judged(plan, move)


def test_kept_as_a_new_version(plan, tmp_path):
    """Height, hours, cooling and proof are computed anew, the old version stays, pins are kept."""
    with open_store(tmp_path / "cell.sqlite") as store:
        first = store.save_plan(plan, made_by="Mira", at=BEFORE)
        old = store.load_plan(first)
        kept = keep_nest(store, old, "B1", [Move("L03-01", z_mm=8.0), Move("L05-01", z_mm=9.0)], ["L01-01"],
                         by="Mira", at=BEFORE, stop=lambda: MaxSteps(40))  # fmt: skip
        new = store.load_plan(kept.plan)
        build = new.build("B1")
        assert kept.height_mm == (110.0, 118.0)
        assert build.nest.height_mm == pytest.approx(118.0)
        assert build.profile.layers == 1180
        assert build.print_time.total_s > old.build("B1").print_time.total_s
        assert build.verification.is_clear
        assert [p.piece for p in build.nest.placements if p.pinned] == ["L01-01"]
        assert "moved by hand (Mira): L03-01, L05-01" in build.nest.notes
        assert store.load_plan(first).build("B1").nest.height_mm == 110.0
        unpinned = keep_nest(store, new, "B1", [], [], by="Mira", at=BEFORE)
        assert not any(p.pinned for p in store.load_plan(unpinned.plan).build("B1").nest.placements)


def test_nothing_is_kept_that_is_wrong_or_begun(plan, tmp_path):
    """Too near, already loaded, nothing changed, a pin on nobody: refused in words, and no version is made."""
    with open_store(tmp_path / "cell.sqlite") as store:
        store.save_plan(plan, made_by="Mira", at=BEFORE)
        old = store.load_plan(1)
        late = MONDAY + timedelta(days=1)
        for moves, pins, at, said in [
            ([Move("L02-01", x_mm=73.5)], None, BEFORE, "3.50 mm"),
            ([Move("L02-01", y_mm=36.0)], None, late, "has begun"),
            ([], None, BEFORE, "nothing was moved"),
            ([], ["L99"], BEFORE, "no piece L99"),
        ]:
            with pytest.raises(InputError, match=said):
                keep_nest(store, old, "B1", moves, pins, by="Mira", at=at)
        assert store.newest() == 1


def test_the_next_nest_leaves_the_pinned_where_they_stand(plan):
    """The duct high above the floor is pinned: the others are nested around it with their clearance, proven exactly."""
    build = plan.builds[0]
    moved = move_parts(plan, build, [Move("L03-01", x_mm=60.0, y_mm=90.0, z_mm=20.0)]).placements
    pinned = tuple(replace(p, pinned=p.piece == "L03-01") for p in moved)
    build = replace(build, nest=replace(build.nest, placements=pinned, height_mm=130.0))
    effort = effort_in_steps(60)
    new = nested_around(plan, build, effort=effort, seed=3)
    before, after = ({p.piece: p for p in b.nest.placements} for b in (build, new))
    assert np.array_equal(before["L03-01"].translation, after["L03-01"].translation)
    assert after["L03-01"].pinned
    assert any(not np.array_equal(before[n].translation, after[n].translation) for n in before)
    assert new.verification.is_clear
    assert new.removal.is_free
    assert set(before) == set(after)
    with pytest.raises(CakewrightError, match="every piece"):
        every = tuple(replace(p, pinned=True) for p in pinned)
        nested_around(plan, replace(build, nest=replace(build.nest, placements=every)), effort=effort, seed=3)
