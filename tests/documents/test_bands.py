"""Depth bands of the unpacking map: every piece once, every fragile piece announced in time."""

from dataclasses import replace

import pytest

from cakewright.documents.bands import band_mm, bands, depth_of
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


def test_hooked_pieces_carry_their_warning_in_their_band(plan):
    cut = bands(plan, plan.build("B1"))
    said = {piece: before for band in cut for piece, before in band.waits}
    assert said == dict(plan.build("B1").removal.hooked)


def test_bands_are_never_thinner_than_the_warning():
    assert band_mm(30) == FRAGILE_WARNING.value
    assert band_mm(320) == 40
