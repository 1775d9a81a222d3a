"""What a planner asks beyond height is reached where it can be, and said where it cannot."""

import numpy as np
import pytest

from cakewright.errors import DoesNotFitError, InputError
from cakewright.nesting.arrange import Arranger, arrange, turn_over
from cakewright.nesting.bank import make_bank
from cakewright.nesting.construct import Layout, Workspace
from cakewright.nesting.fulfil import judge, layout_of
from cakewright.nesting.objective import Objective
from cakewright.nesting.search import nest, volume_mm3
from cakewright.nesting.separable import removal
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.nesting.verify import tightest_pair, verify_nest
from cakewright.nesting.wishes import (
    HeightWindow,
    NestWishes,
    ReservedPlace,
    Weights,
    ceiling_mm,
    height_price,
    mean_thickness_mm,
)
from cakewright.stopping import MaxSteps
from tests.conftest import box_mesh
from tests.nesting.conftest import cube_rotations

STAND = np.eye(3)[None]


def task_of(meshes, lines, space, wishes, *, rotations=STAND, priority=None, clearance=2.0):
    """`lines` is part key and quantity for each line, numbered from 1."""
    pieces = [
        NestPiece(f"L{n}-{i}", key, n, (priority or {}).get(n, 0.0))
        for n, (key, quantity) in enumerate(lines, 1)
        for i in range(quantity)
    ]
    return NestTask(meshes, pieces, dict.fromkeys(meshes, rotations), space, clearance, 1.0, wishes)


def judged(task, steps=150, seed=1):
    """The nest, proven clear and free, with the price list of its wishes by name."""
    made = nest(task, stop=MaxSteps(5), seed=seed, arrange_stop=MaxSteps(steps))
    assert verify_nest(task.meshes, made.placements, task.space, task.clearance_mm, clock=lambda: 0.0).is_clear
    assert removal(task.meshes, made.placements, task.space, voxel_mm=1.0).is_free
    return made, {t.name: t for t in judge(task, made)}


def two_lines_of_cubes(wishes, **more):
    """Sixteen equal cubes of two lines in a narrow shaft: which stands where is free to choose."""
    meshes = {"a": box_mesh(10, 10, 10), "b": box_mesh(10, 10, 10)}
    return task_of(meshes, [("a", 8), ("b", 8)], NestSpace(24, 24, 120), wishes, **more)


def test_pieces_of_a_line_are_gathered_for_counting():
    """Each line ends in four layers of its own, at no cost in height."""
    mixed, before = judged(two_lines_of_cubes(NestWishes()), steps=0)
    made, after = judged(two_lines_of_cubes(NestWishes()))
    assert after["together"].value < before["together"].value or before["together"].value < 20
    assert made.height_mm <= mixed.height_mm + 1e-9
    by_line = [[p.z_min_mm for p in made.placements if p.line == n] for n in (1, 2)]
    assert max(by_line[0]) < min(by_line[1]) or max(by_line[1]) < min(by_line[0])


def test_names_alone_are_swapped_between_equal_parts():
    """Shuffled lines of equal cubes are sorted although there is no room to spare."""
    task = two_lines_of_cubes(NestWishes())
    keys = ["a", "b"]
    bank = make_bank(task, keys)
    part = np.array([keys.index(p.part_key) for p in task.pieces], np.int64)
    layout = Layout.empty(part)
    layout.pose[:] = [bank.poses_of(int(p))[0] for p in part]
    spots = [(x, y, z) for z in range(0, 48, 12) for y in (0, 12) for x in (0, 12)]
    layout.at[np.random.default_rng(3).permutation(16)] = spots
    objective = Objective(task, bank, part, {k: volume_mm3(m) for k, m in task.meshes.items()})
    first = {t.name: t.value for t in objective.terms(layout)}
    rng = np.random.default_rng(1)
    better, steps = arrange(Workspace(bank), layout, objective, MaxSteps(200), rng, ceiling_mm=46.0)
    last = {t.name: t.value for t in objective.terms(better)}
    assert steps == 200
    assert last["together"] < 0.85 * first["together"]  # 10.4 mm is the least that two lines of 2 x 2 x 2 can have
    assert better.height_mm(bank) == layout.height_mm(bank)
    assert len({tuple(at) for at in better.at.tolist()}) == 16


def test_must_have_pieces_go_low():
    """The line that must survive a stop is printed first."""
    wishes = NestWishes(together=False)
    _, after = judged(two_lines_of_cubes(wishes, priority={2: 1.0}))
    assert after["early"].value <= 22.0 + 1e-6


def test_look_alikes_are_kept_apart():
    """Two lines that cannot be told apart end with more powder between them than without the wish."""
    meshes = {"a": box_mesh(10, 10, 10), "b": box_mesh(10, 10, 10.2), "c": box_mesh(12, 12, 12)}
    lines, space = [("a", 3), ("b", 3), ("c", 8)], NestSpace(28, 28, 150)
    apart = NestWishes(apart=(frozenset({1, 2}),), together=False)
    task = task_of(meshes, lines, space, apart)
    _, before = judged(task, steps=0)
    _, after = judged(task, steps=800)
    assert after["apart"].value < before["apart"].value


def test_fragile_is_not_under_heavy():
    """A thin frame that would lie under blocks comes out from under them."""
    meshes = {"block": box_mesh(18, 18, 18), "leaf": box_mesh(18, 18, 1)}
    task = task_of(meshes, [("block", 2), ("leaf", 2)], NestSpace(22, 22, 90), NestWishes(fragile=frozenset({"leaf"})))
    made, after = judged(task, steps=300)
    assert after["fragile"].value == 0
    leaves = [p.z_min_mm for p in made.placements if p.part_key == "leaf"]
    assert min(leaves) > max(p.z_min_mm for p in made.placements if p.part_key == "block")


def test_flat_plates_do_not_all_begin_in_one_layer():
    """Plates side by side make the area jump; with head room they start one after the other."""
    meshes = {"plate": box_mesh(18, 18, 3), "tower": box_mesh(6, 6, 40)}
    task = task_of(
        meshes, [("plate", 3), ("tower", 1)], NestSpace(44, 44, 60), NestWishes(area_jump=0.2, together=False)
    )
    _, before = judged(task, steps=0)
    made, after = judged(task, steps=300)
    assert before["evenness"].value > 0
    assert after["evenness"].value < before["evenness"].value
    assert made.height_mm == pytest.approx(40.0)


def test_nothing_comes_near_a_reserved_place_and_the_specimen_stands_in_it():
    """The bar stands in the middle of its box; everything else keeps the clearance to the box."""
    meshes = {"cube": box_mesh(10, 10, 10), "bar": box_mesh(4, 20, 3)}
    place = ReservedPlace("T1", (10, 10, 12), (16, 32, 16), "bar", line=9)
    empty = ReservedPlace("free corner", (0, 0, 0), (8, 8, 8))
    task = task_of(meshes, [("cube", 20)], NestSpace(50, 50, 80), NestWishes(reserved=(place, empty)))
    made, terms = judged(task, steps=40)
    bar = next(p for p in made.placements if p.piece == "T1")
    assert bar.line == 9
    assert bar.translation.tolist() == [11, 11, 12]
    assert terms["reserved"].value == 0
    for p in made.placements:
        if p.piece == "T1":
            continue
        low = p.translation
        for box in (place, empty):
            gap = np.maximum(np.maximum(low - box.high_mm, np.array(box.low_mm) - (low + 10)), 0)
            assert np.linalg.norm(gap) >= 2.0 - 1e-9


def test_a_specimen_larger_than_its_place_is_refused():
    meshes = {"cube": box_mesh(10, 10, 10)}
    place = ReservedPlace("T1", (0, 0, 0), (5, 5, 5), "cube")
    task = task_of(meshes, [("cube", 1)], NestSpace(50, 50, 50), NestWishes(reserved=(place,)))
    with pytest.raises(DoesNotFitError, match="T1"):
        nest(task, stop=MaxSteps(0), seed=1)


@pytest.mark.parametrize(
    ("wishes", "said"),
    [
        (NestWishes(fragile=frozenset({"nobody"})), "unknown parts: nobody"),
        (NestWishes(extra_mm={"cube": -1.0}), "below zero"),
        (NestWishes(reserved=(ReservedPlace("r", (40, 0, 0), (60, 9, 9)),)), "crosses a wall"),
        (NestWishes(reserved=tuple(ReservedPlace(n, (0, 0, 0), (9, 9, 9)) for n in "rs")), "r and s overlap"),
    ],
)
def test_wishes_that_cannot_be_meant_are_named(wishes, said):
    with pytest.raises(InputError, match=said):
        task_of({"cube": box_mesh(10, 10, 10)}, [("cube", 1)], NestSpace(50, 50, 50), wishes)


def test_thick_parts_get_more_room_and_thin_ones_do_not():
    """Two blocks keep 5 mm where leaves keep 2."""
    meshes = {"block": box_mesh(20, 20, 20), "leaf": box_mesh(20, 20, 1)}
    wishes = NestWishes(extra_mm={"block": 3.0})
    task = task_of(meshes, [("block", 4), ("leaf", 6)], NestSpace(60, 60, 90), wishes)
    made, terms = judged(task, steps=30)
    blocks = [p for p in made.placements if p.part_key == "block"]
    pair = tightest_pair(task.meshes, blocks, 10.0)
    assert pair is not None
    assert pair.gap_mm >= 5.0 - 1e-6
    assert terms["clearance"].value == 0


def test_a_piece_with_a_place_is_worth_more_than_a_wide_gap():
    """When the wider gaps leave no room the usual clearance is kept, and the nest says so."""
    meshes = {"block": box_mesh(20, 20, 20)}
    task = task_of(meshes, [("block", 4)], NestSpace(42, 42, 20), NestWishes(extra_mm={"block": 3.0}))
    made, terms = judged(task, steps=0)
    assert not made.left_out
    assert terms["clearance"].value == pytest.approx(3.0, abs=0.2)
    assert any("are thick and 2.0 mm apart, 5.0 mm were asked" in note for note in made.notes)


def test_heights_have_prices():
    """Inside a window its price, outside the dearest and the way back."""
    windows = (HeightWindow(80, 100, 0.0), HeightWindow(40, 60, 3.0))
    assert [height_price(h, windows) for h in (90, 50, 70, 110)] == [0.0, 3.0, 13.0, 13.0]
    assert height_price(33, ()) == 0.0
    assert ceiling_mm(85, windows, 300) == 100
    assert ceiling_mm(85, windows, 95) == 95
    assert ceiling_mm(70, windows, 300) == 70


def test_a_window_lends_head_room_for_the_other_wishes():
    """Ending anywhere up to 60 mm costs the same, so plates spread over more layers than the lowest nest has."""
    meshes = {"plate": box_mesh(18, 18, 3)}
    window = NestWishes(area_jump=0.2, windows=(HeightWindow(0, 40),), together=False, weights=Weights(height=0.01))
    task = task_of(meshes, [("plate", 4)], NestSpace(44, 44, 60), window)
    made, terms = judged(task, steps=200)
    assert 3.0 < made.height_mm <= 40.0
    assert terms["evenness"].value == 0
    assert terms["end"].price == 0


def test_a_pile_can_be_turned_upside_down():
    """Half a turn about x keeps every distance; a piece that may not be turned stays the right way up."""
    meshes = {"rod": box_mesh(6, 8, 20), "cube": box_mesh(10, 10, 10)}
    lines, space = [("rod", 4), ("cube", 4)], NestSpace(32.5, 30, 60)
    task = task_of(meshes, lines, space, NestWishes(), rotations=cube_rotations())
    made = nest(task, stop=MaxSteps(0), seed=1, arrange_stop=MaxSteps(0))
    bank = make_bank(task, sorted(meshes))
    layout = layout_of(task, bank, made.placements)
    over = turn_over(Arranger(Workspace(bank), layout.part, made.height_mm, np.random.default_rng(1)), layout)
    assert over is not None
    assert over.height_mm(bank) <= made.height_mm + 1.0
    assert np.array_equal(np.argsort(over.at[:4, 2] + 0.0)[::-1].shape, (4,))
    assert not np.array_equal(over.at, layout.at)


def test_the_same_seed_arranges_the_same():
    task = two_lines_of_cubes(NestWishes(), priority={2: 1.0})
    first, again = (nest(task, stop=MaxSteps(3), seed=5, arrange_stop=MaxSteps(60)) for _ in range(2))
    assert [p.translation.tolist() for p in first.placements] == [p.translation.tolist() for p in again.placements]


def test_the_price_list_is_whole_and_adds_up():
    """Every wish has a line with value, unit and weight, most important first."""
    _, terms = judged(two_lines_of_cubes(NestWishes()), steps=10)
    assert list(terms) == ["interlocked", "clearance", "height", "end", "evenness", "crowding", "early", "fragile",
                           "together", "apart", "reserved", "density"]  # fmt: skip
    assert terms["interlocked"].price == 0
    assert terms["height"].price == terms["height"].value


def test_mean_thickness_of_a_plate_is_its_thickness():
    plate = box_mesh(1000, 1000, 3)
    assert mean_thickness_mm(plate, volume_mm3(plate)) == pytest.approx(3.0, rel=0.01)


def test_only_wishes_that_concern_the_build_are_told():
    """Without look-alikes, fragile parts or priced heights the notes do not speak of them; with them they do."""
    made, _ = judged(two_lines_of_cubes(NestWishes()), steps=5)
    said = " ".join(made.notes)
    assert "lines kept together" in said
    assert not any(words in said for words in ("look-alikes", "fragile", "hours", "must-have"))
    wishes = NestWishes(apart=(frozenset({1, 2}),), fragile=frozenset({"a"}), windows=(HeightWindow(0, 100),))
    asked, _ = judged(two_lines_of_cubes(wishes, priority={1: 1.0}), steps=5)
    said = " ".join(asked.notes)
    assert all(words in said for words in ("look-alikes", "fragile", "hours", "must-have"))
