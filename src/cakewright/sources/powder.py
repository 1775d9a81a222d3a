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
    note="time in the mixer on the blend slip; time and speed change the powder (Eggers, von Lacroix, Powders 2(1), 2023)",
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
