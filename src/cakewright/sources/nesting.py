"""Numbers behind nesting: tolerances of the arithmetic and settings of the search."""

from cakewright.sources.reference import Reference, Status

_OURS = "chosen by us for this engine"

LATTICE_SHRINK = Reference(
    "nesting.lattice_shrink", 1e-6, "voxel", Status.DEFAULT, _OURS,
    "voxels are shrunk by this before the any-touch test, so that a face lying on the lattice touches neither side",
)  # fmt: skip
GAP_TOLERANCE = Reference(
    "nesting.gap_tolerance", 1e-4, "mm", Status.DEFAULT, _OURS,
    "a gap or wall distance short by less than this counts as kept; thinner than any layer or file resolution",
)  # fmt: skip
FINE_STEP = Reference(
    "nesting.fine_step", 0.5, "mm", Status.DEFAULT, _OURS,
    "the clearance skin is computed on a lattice about this fine, then rounded to search voxels once",
)  # fmt: skip
FINE_SPLITS = Reference(
    "nesting.fine_splits", 4, "cells per voxel edge", Status.DEFAULT, _OURS, "upper bound of the finer lattice"
)
FINE_CELLS = Reference(
    "nesting.fine_cells", 3e7, "cells", Status.DEFAULT, _OURS, "a part whose finer lattice is larger gets a coarser one"
)
"""Upper bound on memory per part while it is turned into voxels."""
COVER_CELLS = Reference(
    "nesting.cover_cells", 128, "cells", Status.DEFAULT, _OURS, "spaces up to this size are solved as exact cover"
)
COVER_NODES = Reference(
    "nesting.cover_nodes", 2000, "nodes", Status.DEFAULT, _OURS, "unit of the restart sequence of the exact search"
)
MEAN_TOP_WEIGHT = Reference(
    "nesting.mean_top_weight",
    1e-3,
    "mm per mm",
    Status.DEFAULT,
    "chosen here",
    "worth of lowering all tops by 1 mm against lowering the build by 1 mm",
)
PRIORITY_WEIGHT = Reference(
    "nesting.priority_weight",
    1e-3,
    "mm per mm",
    Status.DEFAULT,
    "chosen here",
    "the same for pieces that ask for an early place, times their priority",
)
MISSING_PRICE_MM = Reference(
    "nesting.missing_price",
    1e6,
    "mm",
    Status.DEFAULT,
    "chosen here",
    "a piece without a place costs more than any height",
)
SEARCH_HEAT = Reference(
    "nesting.search_heat",
    0.002,
    "1",
    Status.DEFAULT,
    "chosen here",
    "share of the first cost by which the search accepts a worse build at the start",
)
SEARCH_COOLING = Reference(
    "nesting.search_cooling",
    0.999,
    "1",
    Status.DEFAULT,
    "chosen here",
    "factor on that share after each step",
)
FINE_VOXEL = Reference(
    "nesting.fine_voxel",
    1.0,
    "mm",
    Status.DEFAULT,
    "chosen here",
    "largest edge of the small cells; of 100 real parts, 1.0 mm gave 5.5 % denser builds than 1.5 mm, 0.6 mm as dense",
)
FINE_WORK = Reference(
    "nesting.fine_work",
    1.5e11,
    "cells squared",
    Status.DEFAULT,
    "chosen here",
    "builds for which small cells would mean more work than this stay on the large ones",
)
COARSE_STEPS = Reference(
    "nesting.coarse_steps",
    12,
    "steps",
    Status.DEFAULT,
    "chosen here",
    "steps of improvement on the large cells before the small ones are worth their set-up",
)
RESTARTS = Reference(
    "nesting.restarts",
    12,
    "builds per worker",
    Status.DEFAULT,
    "chosen here",
    "constructions in disturbed orders on the small cells, for each worker, before the best is improved",
)
STAGE_SHARES = (0.5, 0.75, 0.93)
"""Shares of the boxes of all pieces, largest first, that are searched before the next join; chosen here, see below."""
STAGE_EFFORT = Reference(
    "nesting.stage_effort",
    0.5,
    "1",
    Status.DEFAULT,
    "chosen here",
    "share of what the stop rule still allows that goes to the large pieces alone, on large cells",
)
STAGE_STEPS = Reference(
    "nesting.stage_steps",
    15,
    "steps per piece",
    Status.DEFAULT,
    "chosen here",
    "the same where the rule cannot tell how much it allows",
)
STAGE_FROM = Reference(
    "nesting.stage_from",
    0.35,
    "1",
    Status.DEFAULT,
    "chosen here",
    "share of the stop rule up to which whole builds are constructed before the stages begin",
)
STAGE_UNTIL = Reference(
    "nesting.stage_until",
    0.7,
    "1",
    Status.DEFAULT,
    "chosen here",
    "when this share of the stop rule is used already, stages would be too short to be worth their set-up",
)
STAGE_LEAST = Reference(
    "nesting.stage_least", 40, "pieces", Status.DEFAULT, "chosen here", "builds of fewer pieces are not made by stages"
)
PRESS_REACH = Reference(
    "nesting.press_reach", 2, "cells", Status.DEFAULT, "chosen here", "sideways reach of a piece that is pressed down"
)
PRESS_DOWN = Reference(
    "nesting.press_down", 8, "cells", Status.DEFAULT, "chosen here", "how far a piece may be pressed down at once"
)
PRESS_SWEEPS = Reference(
    "nesting.press_sweeps", 4, "sweeps", Status.DEFAULT, "chosen here", "how often all pieces are pressed down in turn"
)
ORDER_NOISE = Reference(
    "nesting.order_noise",
    0.2,
    "1",
    Status.DEFAULT,
    "chosen here",
    "largest spread (of the logarithm) of the random factor on sizes in a disturbed order",
)
HOPE = Reference(
    "nesting.hope",
    3.0,
    "1",
    Status.DEFAULT,
    "chosen here",
    "a try that becomes higher than the present build by this many times the accepted worsening is given up",
)
BOX_GAIN = Reference(
    "nesting.box_gain",
    0.07,
    "1",
    Status.DEFAULT,
    "chosen here",
    "a part is also nested in the turns of its smallest box when that is smaller than the one along its axes by this",
)
BOX_SIDES = Reference(
    "nesting.box_sides",
    60,
    "sides",
    Status.DEFAULT,
    "chosen here",
    "largest sides of the convex hull on which a smallest box is looked for",
)
STABLE_POSES = Reference(
    "nesting.stable_poses",
    2,
    "poses",
    Status.DEFAULT,
    "chosen here",
    "likeliest positions at rest on a table that are tried beside the axis turns",
)
SAME_POSE = Reference(
    "nesting.same_pose",
    0.99,
    "cosine",
    Status.DEFAULT,
    "chosen here",
    "a position at rest whose underside is within this of that of another turn (8 degrees) is not tried as well",
)
