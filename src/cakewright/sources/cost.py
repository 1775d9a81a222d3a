"""Numbers about money: what is assumed when a build is split over its lines."""

from cakewright.sources.reference import Reference, Status

HEIGHT_WEIGHT = Reference(
    "cost.height_weight",
    0.25,
    "1",
    Status.DEFAULT,
    "chosen by us; the splitting rule of docs/explanation/cost.md",
    note="share of the machine cost that is charged by the height a piece needs for itself; the rest goes by envelope",
    low=0.0,
    high=1.0,
)
