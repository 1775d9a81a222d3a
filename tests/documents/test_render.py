"""Pictures of nests: something is on them, nearer pieces hide farther ones, grey tells lines apart."""

import io
from itertools import pairwise

import numpy as np
import pytest
from PIL import Image

from cakewright.documents.render import Shape, draw, line_tints, nest_drawing, nest_picture, part_picture, tint
from cakewright.errors import InputError
from tests.conftest import box_mesh

RED, BLUE = (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)


def middle(picture):
    h, w = picture.pixels.shape[:2]
    return picture.pixels[h // 2, w // 2]


def test_nearer_block_hides_the_farther_one():
    """From above the upper block is seen, from the front the one at the front."""
    low = Shape("low", box_mesh(10, 10, 4), RED)
    high = Shape("high", box_mesh(10, 10, 4, at=(0, 0, 20)), BLUE)
    assert middle(draw([low, high], "top", 60))[2] > 150
    back = Shape("back", box_mesh(10, 4, 10, at=(0, 20, 0)), BLUE)
    front = Shape("front", box_mesh(10, 4, 10), RED)
    assert middle(draw([back, front], "front", 60))[0] > 100


@pytest.mark.parametrize(("view", "ratio"), [("front", 30 / 10), ("side", 20 / 10), ("top", 30 / 20)])
def test_views_show_the_right_sides(view, ratio):
    """A block of 30 x 20 x 10 mm has the outline of its two axes in each view."""
    picture = draw([Shape("block", box_mesh(30, 20, 10), BLUE)], view, 400)
    ink = (picture.pixels < 250).any(axis=2)
    wide, tall = ink.any(axis=0).sum(), ink.any(axis=1).sum()
    assert wide / tall == pytest.approx(ratio, rel=0.02)


def test_area_on_the_picture_is_the_area_of_the_part():
    """Seen from above, a 20 mm square fills the pixels that its scale says."""
    picture = draw([Shape("square", box_mesh(20, 20, 1), RED)], "top", 500)
    assert picture.seen_px["square"] == pytest.approx((20 * picture.scale) ** 2, rel=0.01)


def test_where_finds_a_corner(plan):
    """A point of the chamber is found where it was drawn: the front left corner is at the lower left from above."""
    picture = nest_drawing(plan, plan.builds[0], "top", 400)
    x, y = picture.where((0.0, 0.0, 0.0))
    assert (x, y) == (pytest.approx(0.038, abs=0.01), pytest.approx(0.97, abs=0.01))
    x, y = picture.where((190.0, 240.0, 0.0))
    assert x > 0.95 and y < 0.05


def test_spots_lie_on_their_pieces(plan):
    """The spot of a ring lies on the ring, not in its hole."""
    picture = nest_drawing(plan, plan.builds[1], "top", 500)
    x, y = picture.spots["L04-03"]
    h, w = picture.pixels.shape[:2]
    assert picture.pixels[int(y * h), int(x * w)].max() < 250


@pytest.mark.parametrize("view", ["corner", "front", "side", "top"])
def test_nest_picture_is_a_png_with_something_on_it(plan, view):
    """Every view of every build shows pieces and keeps its paper white."""
    for build in plan.builds:
        image = np.asarray(Image.open(io.BytesIO(nest_picture(plan, build, view, 300))).convert("L"))
        assert max(image.shape) == 300
        assert 0.03 < (image < 235).mean() < 0.9
        assert image[0, 0] == 255


def test_same_plan_same_picture(plan):
    assert nest_picture(plan, plan.builds[0]) == nest_picture(plan, plan.builds[0])


def test_part_picture_turns_the_part():
    """Turned by 90 degrees about X a tall block lies."""
    tall = box_mesh(10, 10, 40)
    lying = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
    assert Image.open(io.BytesIO(part_picture(tall, None, "front", 200))).size[1] == 200
    assert Image.open(io.BytesIO(part_picture(tall, lying, "top", 200))).size[1] == 200
    assert Image.open(io.BytesIO(part_picture(tall, lying, "front", 200))).size == (200, 200)


def test_neighbouring_tints_differ_in_grey():
    """A black-and-white print tells neighbours in the list apart."""
    grey = [0.299 * r + 0.587 * g + 0.114 * b for r, g, b in (tint(i) for i in range(40))]
    assert min(abs(a - b) for a, b in pairwise(grey)) > 0.1
    assert min(grey) > 0.4


def test_every_line_has_a_tint(plan):
    assert set(line_tints(plan)) == {line.line for line in plan.orders.lines}
    assert len(set(line_tints(plan).values())) == len(plan.orders.lines)


def test_unknown_view_and_empty_drawing_are_refused():
    with pytest.raises(InputError, match="use one of: corner, front, side, top"):
        draw([Shape("block", box_mesh(1, 1, 1), RED)], "below", 100)
    with pytest.raises(InputError, match="nothing to draw"):
        draw([], "top", 100)
