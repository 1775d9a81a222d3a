"""Numbers that the planning of a whole week starts from before its own nests have taught it better."""

from cakewright.sources.reference import Reference, Status

TYPICAL_DENSITY = Reference(
    "plan.typical_density",
    0.09,
    "-",
    Status.FROM_MEMORY,
    "part volume over cake volume of mixed builds, usually given as 6 to 12 %",
    "used for the price of a line in a shared build before that build exists",
    0.06,
    0.12,
)
ENVELOPE_FILL = Reference(
    "plan.envelope_fill",
    0.50,
    "-",
    Status.DEFAULT,
    "chosen here: share of the chamber that grown convex hulls fill in a mixed build",
    "first guess of the batching; replaced by what the nests of the same plan show",
    0.35,
    0.70,
)
BUILD_PRICE_H = Reference(
    "plan.build_price",
    6.0,
    "weighted h",
    Status.DEFAULT,
    "chosen here: weighted hours of lateness that one more build must save",
    "higher gives fewer and fuller builds, lower gives more and earlier ones",
    0.0,
    100.0,
)
