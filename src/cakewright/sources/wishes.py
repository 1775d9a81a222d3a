"""Numbers behind what a planner asks of a nest beyond its height. One point is worth 1 mm of build height."""

from cakewright.sources.reference import Reference, Status

_OURS = "chosen here, so that the wishes rank in the order in which they are listed"


def _weight(name: str, value: float, unit: str, note: str = "") -> Reference:
    return Reference(f"wishes.weight_{name}", value, f"points/{unit}", Status.DEFAULT, _OURS, note)


WEIGHT_INTERLOCKED = _weight("interlocked", 1e6, "piece", "a piece that cannot be taken out spoils more than a build")
WEIGHT_CLEARANCE = _weight("clearance", 1e3, "mm", "mm short of the wider gap between thick parts, tightest pair")
WEIGHT_HEIGHT = _weight("height", 1.0, "mm", "the unit of all others")
WEIGHT_END = _weight("end", 1.0, "point", "the price that the caller put on the hours at which a height ends")
WEIGHT_EVENNESS = _weight("evenness", 0.05, "cm²", "jumps of area beyond the limit, added up")
WEIGHT_CROWDING = _weight("crowding", 0.05, "cm³", "solid in crowded zones beyond what would not be crowded")
WEIGHT_EARLY = _weight("early", 0.2, "mm", "mean top of the pieces wanted early, times their priority")
WEIGHT_FRAGILE = _weight("fragile", 0.05, "cm³", "heavier solid above fragile pieces")
WEIGHT_TOGETHER = _weight("together", 0.05, "mm", "mean distance of a piece from the middle of its line")
WEIGHT_APART = _weight("apart", 0.05, "mm", "mean shortfall of the distance between look-alikes")
WEIGHT_RESERVED = _weight("reserved", 1e6, "place", "a place for a specimen that is not free")
WEIGHT_DENSITY = _weight("density", 0.001, "%", "share of the cake that is not part; last on purpose")

THICK_FROM = Reference(
    "wishes.thick_from",
    8.0,
    "mm",
    Status.COMMON_PRACTICE,
    "common practice, no source",
    "a part whose mean thickness (2 x volume / area) is above this keeps heat and needs more room",
    4.0,
    15.0,
)
THICK_EXTRA = Reference(
    "wishes.thick_extra",
    2.0,
    "mm",
    Status.COMMON_PRACTICE,
    "common practice, no source: 5 to 8 mm between thick parts where 3 to 5 mm are kept otherwise",
    "added to the clearance between two thick parts when a cell asks for it",
    2.0,
    3.0,
)
APART = Reference(
    "wishes.apart", 30.0, "mm", Status.DEFAULT, "chosen here: more than a hand reaches into at once", "", 10.0, 100.0
)
FRAGILE_REACH = Reference(
    "wishes.fragile_reach",
    60.0,
    "mm",
    Status.DEFAULT,
    "chosen here: what lies further above has been dug out long before",
)
ARRANGE_HEAT = Reference(
    "wishes.arrange_heat",
    0.2,
    "1",
    Status.DEFAULT,
    _OURS,
    "share of the usual change of price by which worse is accepted",
)
ARRANGE_COOLING = Reference("wishes.arrange_cooling", 0.995, "1", Status.DEFAULT, _OURS, "factor on that after a step")
CHECK_EVERY = Reference(
    "wishes.check_every",
    40.0,
    "accepted moves",
    Status.DEFAULT,
    _OURS,
    "after so many the arrangement is taken apart on paper; if it is stuck the last free one is taken up again",
)
ZONE = Reference(
    "wishes.zone", 40.0, "mm", Status.DEFAULT, "chosen here: edge of the zones in which crowding is looked for"
)
SAMPLES = Reference("wishes.samples", 48.0, "points", Status.DEFAULT, _OURS, "points of a piece counted into the zones")
ARRANGE_STEPS = Reference(
    "wishes.arrange_steps", 300.0, "steps", Status.DEFAULT, _OURS, "when the caller gives no stop rule"
)
SPLIT_PRICE = Reference(
    "wishes.split_price",
    30.0,
    "mm of height",
    Status.DEFAULT,
    "chosen here",
    "what may be spent to keep the pieces of a line in one build",
)
TALLER = Reference(
    "wishes.taller",
    3.0,
    "times the height",
    Status.DEFAULT,
    "chosen here",
    "chambers so much taller are tried to say how much higher one would have to be",
)
WITNESS_HEIGHT = Reference(
    "wishes.witness_height",
    1.03,
    "times the height",
    Status.DEFAULT,
    "chosen here: what a build may grow so that its specimens stand low, in the middle and high",
)
SIDEWAYS_LEVELS = Reference(
    "wishes.sideways_levels",
    8.0,
    "times",
    Status.DEFAULT,
    _OURS,
    "how often the highest pieces are given places that they only leave sideways",
)
SIDEWAYS_TRIES = Reference(
    "wishes.sideways_tries", 6.0, "places", Status.DEFAULT, _OURS, "places tried for them before that is given up"
)
