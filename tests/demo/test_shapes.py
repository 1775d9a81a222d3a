"""Geometry that a person would check by eye: mirrored pairs, teeth, gaps, channels."""

import math

import numpy as np
import pytest

from cakewright.demo.parts_a import BODIES
from cakewright.demo.parts_b import BODIES as BODIES_B
from cakewright.demo.shapes import gauges, kit, kitchen, lamp, pumps, sensor, workshop
from cakewright.errors import GeometryError


def difference(a, b):
    """Volume in which two bodies differ, mm³, after moving both boxes to the origin."""
    a, b = (body.translate([-x for x in body.bounding_box()[:3]]) for body in (a, b))
    return (a - b).volume() + (b - a).volume()


@pytest.mark.parametrize(
    ("bodies", "left", "right"),
    [(BODIES, 1, 2), (BODIES, 20, 21), (BODIES_B, 3, 4), (BODIES_B, 6, 7), (BODIES_B, 8, 9)],
)
def test_pairs_are_mirrors_and_not_twins(bodies, left, right):
    """The right part is the left one in a mirror, and no turn about Z makes them equal."""
    a, b = bodies[left](), bodies[right]()
    assert difference(a.mirror((1, 0, 0)), b) < 1e-3 * a.volume()
    for turn in (0, 180):
        assert difference(a.rotate((0, 0, turn)), b) > 0.02 * a.volume()


@pytest.mark.parametrize("teeth", [24, 25])
def test_a_gear_has_its_teeth(teeth):
    """On the pitch circle material and gap alternate z times, half and half."""
    outline = np.array(kitchen.involute_outline(teeth, 1.0))
    radius, angle = np.hypot(*outline.T), np.unwrap(np.arctan2(outline[:, 1], outline[:, 0]))
    assert radius.max() == pytest.approx(teeth / 2 + 1)
    assert radius.min() == pytest.approx(teeth / 2 - 1.25)
    outside = np.sign(radius - teeth / 2)
    cross = np.nonzero(outside != np.roll(outside, -1))[0]
    assert len(cross) == 2 * teeth
    rising = [i for i in cross if outside[i] < 0]
    assert len(rising) == teeth
    # thickness at the pitch circle = pi m / 2: interpolate both flanks of the first tooth
    at = [np.interp(teeth / 2, radius[i : i + 2], angle[i : i + 2]) if outside[i] < 0 else
          np.interp(-teeth / 2, -radius[i : i + 2], angle[i : i + 2]) for i in cross[:2]]  # fmt: skip
    assert abs(at[1] - at[0]) * teeth / 2 == pytest.approx(math.pi / 2, rel=0.01)


def test_involute_flank_obeys_its_definition():
    """A tangent from the base circle to a flank point is as long as the arc unwound (definition of the involute)."""
    points = np.array(kitchen.involute_outline(24, 1.0))
    base = 12 * math.cos(math.radians(20))
    radius, angle = np.hypot(*points.T), np.arctan2(points[:, 1], points[:, 0])
    start = -(math.pi / 48 + math.tan(math.radians(20)) - math.radians(20))
    for r, a in zip(radius[1:8], angle[1:8], strict=True):
        unwound = math.sqrt(r * r - base * base)
        rolled = unwound / base - math.atan2(unwound, base)  # inv of the pressure angle at r
        assert a - start == pytest.approx(rolled, abs=1e-9)


def test_the_ball_floats_in_its_socket():
    """Two bodies, 0.4 mm apart, so that the joint moves."""
    ball, socket = sorted(lamp.ball_joint().decompose(), key=lambda body: body.volume())
    assert ball.min_gap(socket, 2.0) == pytest.approx(0.4, abs=0.02)


def test_the_spout_has_a_through_channel():
    """One hole through plus four screw holes: genus 5; the path is 120 mm long."""
    body = kitchen.spout()
    assert body.genus() == 5
    path = kitchen._wave(120.0, 85.0, 3.0)
    assert np.linalg.norm(np.diff(path, axis=0), axis=1).sum() == pytest.approx(120, abs=0.1)


def test_the_measuring_channel_is_260_long():
    """Inside the foot of the volute, and open at both ends."""
    path = pumps.measuring_path()
    assert np.linalg.norm(np.diff(path, axis=0), axis=1).sum() == pytest.approx(260, abs=5)


def test_sleds_can_only_be_told_by_their_dots_and_one_millimetre():
    """A and B differ by less than 3 % in volume and by 1 mm in height: a pair to be mistaken."""
    a, b = BODIES_B[15](), BODIES_B[16]()
    assert b.volume() == pytest.approx(a.volume(), rel=0.03)
    assert kit.size_of(b)[2] - kit.size_of(a)[2] == pytest.approx(1.0)
    assert kit.size_of(a)[:2] == pytest.approx(kit.size_of(b)[:2])


@pytest.mark.parametrize("vanes", [5, 6, 7])
def test_an_impeller_has_its_vanes(vanes):
    """A cut half way up between hub and rim meets each vane once."""
    ring = pumps.impeller(vanes, 60, 3.0).slice(14.0) ^ (
        kit.CrossSection.circle(40, 96) - kit.CrossSection.circle(25, 96)
    )
    assert len(ring.decompose()) == vanes


def test_light_guide_walls_are_thin():
    """A tube cut at half height has a wall of 0.8 mm: area of six rings."""
    area = sensor.light_guide_holder().slice(8.0).area()
    assert area == pytest.approx(6 * math.pi * (5**2 - 4.2**2), rel=0.01)


def test_the_drill_jig_guides_six_holes():
    """Six round openings of diameter 6 go through the plate."""
    holes = list(workshop.drill_jig().slice(3.0).decompose()[0].to_polygons())
    areas = [abs(kit.CrossSection([h]).area()) or abs(kit.CrossSection([h[::-1]]).area()) for h in holes]
    assert sum(abs(a - math.pi * 9) < 0.3 for a in areas) == 6


def test_the_tensile_bar_is_parallel_where_it_breaks():
    """10 mm wide over the middle 80 mm, 20 at the grips."""
    slab = gauges.tensile_bar()
    for x, width in ((0, 10), (39, 10), (-39, 10), (80, 20)):
        cut = slab ^ kit.block(0.2, 40, 10, (x - 0.1, -20, -1))
        assert kit.size_of(cut)[1] == pytest.approx(width, abs=0.05)


def test_a_body_that_does_not_close_is_refused():
    """A single triangle is no part."""
    with pytest.raises(GeometryError):
        kit.solid(np.eye(3), [(0, 1, 2)])
