"""Numbers behind a promised date: how far hands and pieces stray, how many weeks are simulated."""

from cakewright.sources.reference import Reference, Status

_HOUSE = "chosen by the authors of cakewright"

PROMISE_RUNS = Reference(
    "promise.runs",
    1000.0,
    "weeks",
    Status.DERIVED,
    "binomial: the 90 % point of 1000 runs lies between the true 88 % and 92 % points with 95 % confidence",
    "simulated weeks behind P50, P90 and the chance to be on time",
    200.0,
    20000.0,
)
HANDS_SIGMA = Reference(
    "promise.hands_sigma",
    0.25,
    "1",
    Status.DEFAULT,
    _HOUSE,
    "spread of the logarithm of hands' time over plan; no time study of laser-sintering benches was read",
    0.1,
    0.5,
)
LEAST_PRINT_FACTOR = Reference(
    "promise.least_print_factor",
    0.5,
    "1",
    Status.DEFAULT,
    _HOUSE,
    "no print is simulated shorter than this share of its predicted hours",
)
STOP_POINTS = Reference(
    "promise.stop_points",
    20.0,
    "1",
    Status.DEFAULT,
    _HOUSE,
    "heights, evenly spread over the layers, at which a simulated build may stop",
)
REACTION_MIN = Reference(
    "promise.reaction",
    120.0,
    "min",
    Status.DEFAULT,
    _HOUSE,
    "from a stop until the remake is nested and may be loaded",
    0.0,
    1440.0,
)
PIECE_YIELD = Reference(
    "promise.piece_yield",
    0.985,
    "1",
    Status.DEFAULT,
    _HOUSE,
    "share of single pieces that pass count and inspection; replace by your own count of missing and broken pieces",
    0.9,
    1.0,
)
OVERMAKE_CONFIDENCE = Reference(
    "promise.overmake_confidence",
    0.95,
    "1",
    Status.DEFAULT,
    _HOUSE,
    "chance to have enough good pieces that the advised number to start gives",
    0.5,
    0.999,
)
COMMIT_HOURS = Reference(
    "promise.commit_hours",
    24.0,
    "h",
    Status.COMMON_PRACTICE,
    "usual in job shops: what people were told for the next day or two is not moved without need",
    "how far ahead a committed plan is kept when it is planned again",
    0.0,
    72.0,
)
MOVE_WORTH_A_WORD_MIN = Reference(
    "promise.move_worth_a_word",
    15.0,
    "min",
    Status.DEFAULT,
    _HOUSE,
    "a date or task that moves by less is not named as a difference",
)
STEADY_TASK_MIN = Reference(
    "promise.steady_task",
    20.0,
    "weighted min",
    Status.DEFAULT,
    _HOUSE,
    "weighted minutes of lateness that moving one more task of a person must save when a plan is made again",
    0.0,
    600.0,
)
