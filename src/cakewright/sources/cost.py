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

QUANTITY_DROP = Reference(
    "cost.quantity_drop",
    0.10,
    "share",
    Status.DEFAULT,
    "chosen by us, unverified",
    note="a quantity is worth asking for when a piece costs at least this much less than in any smaller one that "
    "was priced; less would be lost in the rounding and the spread of a quote",
    low=0.0,
    high=0.5,
)

RATE_HOURS_PER_YEAR = Reference(
    "cost.rate_hours_per_year",
    7884.0,
    "h",
    Status.SECOND_HAND,
    "Hopkinson and Dickens 2003, Proc IMechE C 217, 31-39: 90 % of the hours of a year",
    note="printing hours a year over which an hourly machine rate spreads purchase and maintenance; a rate made for "
    "fewer hours means a cheaper machine",
    low=2000.0,
    high=8766.0,
)
