"""Depth bands of the unpacking map: every piece once, every fragile piece announced in time."""

from dataclasses import replace

import pytest

from cakewright.documents.bands import band_mm, bands, depth_of, leaving_bands
from cakewright.sources.safety import FRAGILE_WARNING


def test_each_piece_is_in_one_band_at_its_depth(plan):
    for build in plan.builds:
        cut = bands(plan, build)
        named = [p.piece for band in cut for p in band.pieces]
        assert sorted(named) == sorted(p.piece for p in build.nest.placements)
        for band in cut:
            assert all(band.top_mm <= depth_of(plan, build, p) < band.bottom_mm for p in band.pieces)


@pytest.mark.parametrize("part", ["clip", "knob", "plate", "duct"])
def test_fragile_pieces_are_announced_at_least_20_mm_before(plan, part):
    """Whatever is fragile: the band that announces it starts 20 mm or more above it, or is the first one."""
    fragile = {k: replace(p, is_delicate=k == part) for k, p in plan.parts.items()}
    world = replace(plan, parts=fragile)
    build = world.build("B1")
    announced = [(band.top_mm, p.piece, deep) for band in bands(world, build) for p, deep in band.coming]
    wanted = {p.piece for p in build.nest.placements if p.part_key == part}
    assert {piece for _, piece, _ in announced} == wanted
    for top, _, deep in announced:
        assert top == 0 or deep - top >= FRAGILE_WARNING.value


def test_only_hooks_that_still_matter_are_spoken_of(plan):
    """L01-04 hangs under ducts that are long out: no word. L02-01 hangs under a deeper plate: it stays until then."""
    cut = bands(plan, plan.build("B1"))
    waits = [(band.top_mm, w) for band in cut for w in band.waits]
    assert [(top, w.piece, w.before, w.until_mm) for top, w in waits] == [(80, "L02-01", ("L01-01",), 120)]
    assert all(not band.first for band in cut)


def test_a_hook_inside_a_band_is_told_as_an_order(plan):
    build = plan.build("B1")
    removal = replace(build.removal, hooked=(("L03-01", ("L03-02",)),))
    cut = bands(plan, replace(build, removal=removal))
    assert [pair for band in cut for pair in band.first] == [("L03-01", ("L03-02",))]
    assert all(not band.waits for band in cut)


def test_chains_of_hooks_leave_with_the_deepest():
    """a under b under c: all three leave in the band of c; a ring of hooks ends too."""
    assert leaving_bands({"a": 0, "b": 1, "c": 4}, {"a": ("b",), "b": ("c",)}) == {"a": 4, "b": 4, "c": 4}
    assert leaving_bands({"a": 0, "b": 1}, {"a": ("b",), "b": ("a",)}) == {"a": 1, "b": 1}


def test_bands_are_never_thinner_than_the_warning():
    assert band_mm(30) == FRAGILE_WARNING.value
    assert band_mm(320) == 40
