"""Settings of the exact nesting of a few pieces and of settling: tolerances, sizes, weights of the search."""

from cakewright.sources.reference import Reference, Status

_OURS = "chosen by us for this engine"

FLAT_ANGLE = Reference(
    "nesting.flat_angle", 1e-10, "1 - cosine", Status.DEFAULT, _OURS, "faces that turn less than this are one face"
)
CONVEX_SHARE = Reference(
    "nesting.convex_share", 1e-7, "of the hull", Status.DEFAULT, _OURS,
    "a piece whose hull is larger by less than this share counts as convex",
)  # fmt: skip
MOST_CUT_PLANES = Reference(
    "nesting.most_cut_planes", 60, "planes", Status.DEFAULT, _OURS, "a solid with more hollow faces is not cut up"
)
MOST_PIECES = Reference(
    "nesting.most_pieces", 12, "convex pieces", Status.DEFAULT, _OURS, "a part of more is nested by voxels"
)
LOW_WEIGHT = Reference(
    "nesting.low_weight", 1e-3, "mm per mm", Status.DEFAULT, _OURS,
    "worth of lowering the mean of all pieces by 1 mm against lowering the highest, when pieces are pushed together",
)  # fmt: skip
STAY_WEIGHT = Reference(
    "nesting.stay_weight", 0.1, "mm per mm", Status.DEFAULT, _OURS, "price of moving a piece at all against lowering it"
)
LP_TOLERANCE = Reference(
    "nesting.lp_tolerance", 1e-10, "mm", Status.DEFAULT, _OURS, "how far a row of the linear program may be missed"
)
SQUEEZE_REACH = Reference(
    "nesting.squeeze_reach", 0.3, "of the longest box edge", Status.DEFAULT, _OURS, "farthest shift in one program"
)
SQUEEZE_ROUNDS = Reference(
    "nesting.squeeze_rounds", 40, "programs", Status.DEFAULT, _OURS, "programs after one another at most"
)
SQUEEZE_GAIN = Reference(
    "nesting.squeeze_gain", 1e-7, "of the height", Status.DEFAULT, _OURS, "smaller gains end the pushing"
)
CLEAR_ENOUGH = Reference(
    "nesting.clear_enough", 1e-9, "mm", Status.DEFAULT, _OURS,
    "penetration depth, summed over all pairs, that counts as no overlap",
)  # fmt: skip
MOST_FEW = Reference(
    "nesting.most_few", 60, "pieces", Status.DEFAULT, _OURS, "more pieces than this are nested by voxels"
)
LOOSE_START = Reference(
    "nesting.loose_start",
    1.05,
    "of the height by voxels",
    Status.DEFAULT,
    _OURS,
    "height at which the exact nest begins",
)
MOST_STEP = Reference(
    "nesting.most_step", 0.04, "of the height", Status.DEFAULT, _OURS, "by how much the height is lowered at first"
)
LEAST_STEP = Reference(
    "nesting.least_step", 1e-5, "of the height", Status.DEFAULT, _OURS, "by how much it is lowered in the end"
)
TRIES = Reference(
    "nesting.tries", 6, "piles", Status.DEFAULT, _OURS, "failures at one height after which a higher one is tried"
)
ROUNDS = Reference(
    "nesting.rounds", 25, "rounds", Status.DEFAULT, _OURS, "rounds over all overlapping pieces in one step"
)
SAMPLES = Reference(
    "nesting.samples", 10, "places", Status.DEFAULT, _OURS, "random places tried each time a piece is moved"
)
PATIENCE = Reference(
    "nesting.patience", 8, "steps", Status.DEFAULT, _OURS, "steps without a gain of 2 % after which a pile is given up"
)
FRESH_SHARE = Reference(
    "nesting.fresh_share", 0.2, "1", Status.DEFAULT, _OURS, "share of tries that start from nothing after a failure"
)
FFT_ERROR = Reference(
    "nesting.fft_error", 0.1, "1", Status.MEASURED, "benchmarks/nesting_gpu.py, grids up to 200 x 200 x 300",
    "factor in the error estimate of a correlation by transforms: factor x eps x norms x log2(size); seen: 0.02",
)  # fmt: skip
FFT_MARGIN = Reference(
    "nesting.fft_margin", 0.25, "cells", Status.DEFAULT, _OURS,
    "largest estimated error at which single precision is used; rounding is right below one half",
)  # fmt: skip
SETTLE_REACH = Reference(
    "nesting.settle_reach", 5.0, "mm", Status.DEFAULT, _OURS, "farthest shift along an axis in one round of settling"
)
SETTLE_ROUNDS = Reference("nesting.settle_rounds", 20, "rounds", Status.DEFAULT, _OURS, "rounds of settling at most")
SETTLE_CUTS = Reference(
    "nesting.settle_cuts",
    12,
    "programs",
    Status.DEFAULT,
    _OURS,
    "programs in a round before the step is halved instead",
)
SETTLE_GAIN = Reference(
    "nesting.settle_gain", 0.02, "mm", Status.DEFAULT, _OURS, "a round that gains less in height and mean is the last"
)
SETTLE_SLACK = Reference(
    "nesting.settle_slack", 1e-6, "mm", Status.DEFAULT, _OURS, "kept beyond the clearance against rounding"
)
SETTLE_TURN = Reference(
    "nesting.settle_turn", 1.0, "mm", Status.DEFAULT, _OURS,
    "farthest turn about the vertical in one round of settling, measured at the rim of the piece",
)  # fmt: skip
SETTLE_TURN_REACH = Reference(
    "nesting.settle_turn_reach", 1.5, "mm", Status.DEFAULT, _OURS,
    "farthest shift along an axis in a round with turns: short, so that little of a long edge is in the way",
)  # fmt: skip
SETTLE_HALVES = Reference(
    "nesting.settle_halves", 6, "halvings", Status.DEFAULT, _OURS,
    "times a step is halved, where the programs of a round did not come to an end, before the round is given up",
)  # fmt: skip
CLOSER_MOST = Reference(
    "nesting.closer_most", 1e8, "cells", Status.DEFAULT, _OURS,
    "a build of more than this is not taken apart again on cells half as large when a piece seems stuck",
)  # fmt: skip
SETTLE_TOLD = Reference("nesting.settle_told", 0.05, "mm", Status.DEFAULT, _OURS, "a smaller gain is not written down")
SETTLE_SHARES = (1.0, 0.5, 0.25)
"""Shares of a step that are valued before it is taken; ours."""
