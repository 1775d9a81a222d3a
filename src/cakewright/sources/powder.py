"""Numbers about powder: how it ages, what a loop needs, when a drum may be opened."""

from cakewright.sources.reference import Reference, Status

_MARKOV = (
    "De Sousa Alves, Soliman, Kontziampasis, A novel stochastic model for optimizing PA12 powder refresh ratios "
    "in SLS, 2025 (in review), published repository"
)
_MARKOV_STEP = (
    (0.62, 0.33, 0.04, 0.01, 0.0),
    (0.0, 0.67, 0.26, 0.06, 0.01),
    (0.0, 0.0, 0.72, 0.22, 0.06),
    (0.0, 0.0, 0.0, 0.77, 0.23),
    (0.0, 0.0, 0.0, 0.0, 1.0),
)
_MARKOV_QUALITY = (1.0, 0.9, 0.7, 0.4, 0.0)

MARKOV_STEP: tuple[tuple[Reference, ...], ...] = tuple(
    tuple(
        Reference(
            f"powder.markov_step_{i}_{j}",
            p,
            "1",
            Status.READ,
            _MARKOV,
            note=f"probability that powder in state {i} (0 virgin .. 4 degraded) is in state {j} after one build",
        )
        for j, p in enumerate(row)
    )
    for i, row in enumerate(_MARKOV_STEP)
)
MARKOV_QUALITY: tuple[Reference, ...] = tuple(
    Reference(f"powder.markov_quality_{i}", w, "1", Status.READ, _MARKOV, note=f"quality weight of state {i}")
    for i, w in enumerate(_MARKOV_QUALITY)
)

MIXING_MIN = Reference(
    "powder.mixing_time",
    20.0,
    "min",
    Status.DEFAULT,
    "chosen by us",
    note="time in the mixer on the slip; time and speed change powder (Eggers & von Lacroix, Powders 2(1), 2023)",
)
WEIGHING_DEVIATION = Reference(
    "powder.weighing_deviation",
    0.01,
    "of the charge",
    Status.DEFAULT,
    "chosen by us",
    note="how far one weighing may be off before the blend has to be worked out again",
)
SCALE_STEP_KG = Reference(
    "powder.scale_step", 0.01, "kg", Status.DEFAULT, "chosen by us", note="figures on a slip are multiples of this"
)
BROKEN_CAN_PRICE = Reference(
    "powder.broken_can_price",
    0.5,
    "virgin kg",
    Status.DEFAULT,
    "chosen by us",
    note="virgin powder one would spend to avoid leaving one more can half empty",
)
YOUNGER_FIRST_PRICE = Reference(
    "powder.younger_first_price",
    0.02,
    "virgin kg per kg",
    Status.DEFAULT,
    "chosen by us",
    note="virgin powder one would spend to take a kilogram from the oldest can instead of the youngest",
)

DEW_POINT_B = Reference(
    "powder.magnus_b",
    17.625,
    "1",
    Status.FROM_MEMORY,
    "Alduchov & Eskridge, J. Appl. Meteorology 35, 1996 (Magnus form)",
)
DEW_POINT_C = Reference(
    "powder.magnus_c",
    243.04,
    "°C",
    Status.FROM_MEMORY,
    "Alduchov & Eskridge, J. Appl. Meteorology 35, 1996 (Magnus form)",
)
DEW_POINT_MARGIN = Reference(
    "powder.dew_point_margin",
    3.0,
    "K",
    Status.COMMON_PRACTICE,
    "common practice",
    note="a drum is opened only when its powder is so much warmer than the dew point of the room",
)
ACCLIMATISE_H = Reference(
    "powder.acclimatise",
    48.0,
    "h",
    Status.COMMON_PRACTICE,
    "common practice",
    note="time a closed drum stands in the machine room before it is opened",
    low=24.0,
    high=48.0,
)
CHANGEOVER_H = Reference(
    "powder.changeover",
    24.0,
    "h",
    Status.COMMON_PRACTICE,
    "common practice",
    note="about a day to change the material of a machine: strip, vacuum, wipe, purge, empty build",
)
UNEXPLAINED_LIMIT = Reference(
    "powder.unexplained_limit",
    0.02,
    "of what went through",
    Status.DEFAULT,
    "chosen by us",
    note="monthly weigh-in: above this the difference is looked for",
)
FLOW_LOSS_SPREAD = Reference(
    "powder.flow_loss_spread",
    0.05,
    "ln per sqrt(build)",
    Status.DEFAULT,
    "chosen by us",
    note="how much the fall of ln(melt flow) in one build differs from its mean",
)
OVERSIZE_ALARM = Reference(
    "powder.oversize_alarm",
    3.0,
    "sigma",
    Status.DEFAULT,
    "chosen by us",
    note="oversize ratio so far above the usual is called a signal",
)
