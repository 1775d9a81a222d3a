"""Numbers of the floor: slack of depths, what checks are expected to find, how far a flaw reaches."""

from cakewright.sources.reference import Reference, Status

_OURS = "chosen by us"

DEPTH_SLACK_MM = Reference(
    "floor.depth_slack_mm", 15.0, "mm", Status.DEFAULT, _OURS, "how far a depth told in loose powder may be off"
)
CHECK_PRIOR_FOUND = Reference(
    "floor.check_prior_found", 0.5, "finds", Status.DEFAULT, _OURS, "Jeffreys prior: half a find in one check"
)
CHECK_PRIOR_DONE = Reference("floor.check_prior_done", 1.0, "checks", Status.DEFAULT, _OURS, "Jeffreys prior")
CONTAINMENT_MM = Reference(
    "floor.containment_mm", 5.0, "mm", Status.DEFAULT, _OURS, "layers above and below a flawed piece that are suspect"
)
INSPECT_BAD_SHARE = Reference(
    "floor.inspect_bad_share", 0.05, "share", Status.DEFAULT, _OURS,
    "bad share that zero acceptance must find with nine in ten; classes may ask for more",
)  # fmt: skip
SPECIMENS_NEEDED = Reference(
    "floor.specimens_needed", 3.0, "bars", Status.COMMON_PRACTICE, "common practice, no source",
    "so many values of each property before a build is tested; usual are 3 to 5", 1.0, 10.0,
)  # fmt: skip
MASSES_FOR_SPREAD = Reference(
    "floor.masses_for_spread", 5.0, "pieces", Status.DEFAULT, _OURS,
    "so many weighed one by one before their spread is believed; ten are better",
)  # fmt: skip
CUSUM_ALLOWANCE = Reference(
    "floor.cusum_allowance", 0.5, "sigma", Status.COMMON_PRACTICE, "common practice, no source",
    "half of the shift of one sigma that is to be found",
)  # fmt: skip
CUSUM_DECISION = Reference(
    "floor.cusum_decision", 5.0, "sigma", Status.COMMON_PRACTICE, "common practice, no source", "usual are 4 to 5",
)  # fmt: skip
FINISH_VALUES = Reference(
    "floor.finish_values", 5.0, "values", Status.DEFAULT, _OURS,
    "so many sizes before and after a finish, before limits and ways up count on the change",
)  # fmt: skip
