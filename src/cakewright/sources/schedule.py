"""Numbers of the scheduler: none is physics, all are choices that a cell may replace."""

from cakewright.sources.reference import Reference, Status

_HOUSE = "chosen by the authors of cakewright"

BASKET_HANDS_MIN = Reference(
    "schedule.basket_hands",
    120.0,
    "min",
    Status.DEFAULT,
    _HOUSE,
    "bench work longer than this is cut into portions, so that it fits between machine jobs and breaks",
)
EARLINESS_WEIGHT = Reference(
    "schedule.earliness_weight",
    0.01,
    "1",
    Status.DEFAULT,
    _HOUSE,
    "worth of finishing a line one minute earlier, relative to one minute less late; keeps idle weeks compact",
)
HORIZON_DAYS = Reference(
    "schedule.horizon",
    28.0,
    "d",
    Status.DEFAULT,
    _HOUSE,
    "first length of the calendar; doubled while something does not fit",
)
HORIZON_MOST_DAYS = Reference(
    "schedule.horizon_most",
    1800.0,
    "d",
    Status.DEFAULT,
    _HOUSE,
    "where the search for a free hour gives up",
)
WAIT_WORTH_A_WORD_MIN = Reference(
    "schedule.wait_worth_a_word",
    30.0,
    "min",
    Status.DEFAULT,
    _HOUSE,
    "shorter waits are not given as the reason of a date",
)
BATCH_CHUNK_STEPS = Reference(
    "schedule.batch_chunk",
    500.0,
    "1",
    Status.DEFAULT,
    _HOUSE,
    "assignments tried between two looks at the stop rule",
)
BATCH_SPLIT_FILL = Reference(
    "schedule.batch_split_fill",
    0.8,
    "1",
    Status.DEFAULT,
    _HOUSE,
    "share of a chamber that a portion of a line too big for one chamber may take",
)
SEARCH_MARGIN = Reference(
    "schedule.search_margin",
    1.5,
    "builds",
    Status.MEASURED,
    "benchmarks/schedule.py, random cells of 50 and 100 builds",
    "this over the number of builds is the share of the best cost by which a changed schedule may be worse and still "
    "be followed; at most `schedule.search_margin_most`",
)
SEARCH_MARGIN_MOST = Reference(
    "schedule.search_margin_most", 0.1, "1", Status.DEFAULT, _HOUSE, "largest share of the best cost for few builds"
)
SEARCH_RESTART_STEPS = Reference(
    "schedule.search_restart",
    1000.0,
    "steps",
    Status.DEFAULT,
    _HOUSE,
    "schedules without a new best before the search goes back to it",
)
BATCH_MARGIN = Reference(
    "schedule.batch_margin",
    0.03,
    "1",
    Status.DEFAULT,
    _HOUSE,
    "share of the best cost by which a changed set of batches may be worse and still be followed",
)
STEADY_WEIGHT = Reference(
    "schedule.steady_weight",
    0.02,
    "1",
    Status.DEFAULT,
    _HOUSE,
    "cost of moving a loading by one minute against the plan before, relative to one weighted minute late; small, so "
    "that dates decide and nothing moves without gain",
)
WHOLE_MOST_BUILDS = Reference(
    "schedule.whole_most_builds",
    25.0,
    "builds",
    Status.DEFAULT,
    _HOUSE,
    "up to so many builds the exact solver gets all of them at once, above that some at a time",
)
FREE_BUILDS = Reference(
    "schedule.free_builds",
    12.0,
    "builds",
    Status.DEFAULT,
    _HOUSE,
    "builds that the exact solver may move at a time while the others stay",
    low=6.0,
    high=18.0,
)
SUBSOLVE_UNITS = Reference(
    "schedule.subsolve_units",
    0.4,
    "1",
    Status.DEFAULT,
    _HOUSE,
    "effort for an exact solve of `schedule.free_builds` builds, in deterministic units of the solver (about a second "
    "on a free core); of fewer or more, in proportion to the square of their number",
)
LNS_EXTRA_DAYS = Reference(
    "schedule.lns_extra",
    6.0,
    "d",
    Status.DEFAULT,
    _HOUSE,
    "days before the first and after the last freed task into which the exact solver may move builds",
)
WHOLE_UNITS = Reference(
    "schedule.whole_units",
    4.0,
    "1",
    Status.DEFAULT,
    _HOUSE,
    "most effort for one exact solve of all builds at once, in deterministic units of the solver",
)
SEARCH_NEAR = Reference(
    "schedule.search_near",
    8.0,
    "places",
    Status.DEFAULT,
    _HOUSE,
    "how far most moves of the local search carry a build in the order",
)
DULL_SOLVES = Reference(
    "schedule.dull_solves",
    40.0,
    "1",
    Status.DEFAULT,
    _HOUSE,
    "exact solves of some builds without a gain before the search begins anew from another schedule",
)
_RANDOM_CELLS = "benchmarks/schedule.py, random cells of 50 builds"
ANNEAL_EARLINESS = Reference(
    "schedule.anneal_earliness",
    0.001,
    "1",
    Status.MEASURED,
    _RANDOM_CELLS,
    "as `schedule.earliness_weight`, while builds are annealed: with less of it, lateness is what decides",
)
ANNEAL_HOTTEST = Reference(
    "schedule.anneal_hottest",
    0.01,
    "1",
    Status.MEASURED,
    _RANDOM_CELLS,
    "share of the cost by which a schedule may be worse at first and still be followed once in e times",
)
ANNEAL_COOLEST = Reference(
    "schedule.anneal_coolest", 0.0005, "1", Status.DEFAULT, _HOUSE, "the same at the end of annealing"
)
ANNEAL_STEPS = Reference(
    "schedule.anneal_steps",
    4000.0,
    "steps",
    Status.MEASURED,
    _RANDOM_CELLS,
    "schedules tried for each build in one annealing; fewer where the time for annealing ends before",
)
ANNEAL_TRIES = Reference(
    "schedule.anneal_tries",
    12.0,
    "1",
    Status.DEFAULT,
    _HOUSE,
    "annealings of which the best is taken, where the rule cannot tell time: one and the next may differ by a third",
)
ANNEAL_TRIES_SMALL = Reference(
    "schedule.anneal_tries_small",
    2.0,
    "1",
    Status.DEFAULT,
    _HOUSE,
    "the same for few enough builds to be solved whole",
)
ANNEAL_HOPE = Reference(
    "schedule.anneal_hope",
    2.0,
    "1",
    Status.MEASURED,
    _RANDOM_CELLS,
    "an order is given up while it is decoded when the lines not reached yet would have to be cheaper than before the "
    "change by so many times what a schedule may be worse and still be followed once in e times",
)
ANNEAL_SPARE_DAYS = Reference(
    "schedule.anneal_spare",
    14.0,
    "d",
    Status.DEFAULT,
    _HOUSE,
    "how much later than dispatch a schedule may end while annealing; a shorter calendar is quicker to read",
)
ANNEAL_SHARE = Reference(
    "schedule.anneal_share",
    0.75,
    "1",
    Status.MEASURED,
    _RANDOM_CELLS,
    "share of the time for annealing, the rest is for exact solves of some builds at a time",
)
ANNEAL_NEAR = Reference(
    "schedule.anneal_near", 10.0, "places", Status.DEFAULT, _HOUSE, "how far most moves carry a build while annealing"
)
ANNEAL_RUN = Reference(
    "schedule.anneal_run", 5.0, "builds", Status.DEFAULT, _HOUSE, "most builds of one powder that are moved together"
)
ANNEAL_CHUNK = Reference(
    "schedule.anneal_chunk",
    1000.0,
    "steps",
    Status.DEFAULT,
    _HOUSE,
    "schedules tried while annealing between two looks at the stop rule; counted like one exact solve of some builds",
)
