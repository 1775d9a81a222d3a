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

VIRGIN_FLOW = Reference(
    "powder.virgin_flow",
    50.0,
    "g/10 min",
    Status.DEFAULT,
    "chosen by us",
    note="melt flow of a lot whose certificate names none; replace by the certificate's figure",
)
CERTIFICATE_SPREAD = Reference(
    "powder.certificate_spread",
    0.05,
    "relative",
    Status.DEFAULT,
    "chosen by us",
    note="one sigma of a drum's melt flow around the figure of its certificate",
)
UNKNOWN_FLOW = Reference(
    "powder.unknown_flow",
    25.0,
    "g/10 min",
    Status.DEFAULT,
    "chosen by us",
    note="first guess for used powder whose history is not in the books; measure it",
)
UNKNOWN_FLOW_SPREAD = Reference(
    "powder.unknown_flow_spread",
    0.35,
    "relative",
    Status.DEFAULT,
    "chosen by us",
    note="one sigma of that first guess: nearly nothing is known",
)
FLOW_LOSS_PER_BUILD = Reference(
    "powder.flow_loss_per_build",
    0.15,
    "ln per build",
    Status.DEFAULT,
    "chosen by us",
    note="fall of ln(melt flow) in one build; fit it to your own measurements (three ages or more)",
)
FLOW_REPEATABILITY = Reference(
    "powder.flow_repeatability",
    0.05,
    "relative",
    Status.DEFAULT,
    "chosen by us",
    note="one sigma of a melt flow measurement when the sheet names none",
)
DOSE_OF_A_BUILD_H = Reference(
    "powder.dose_of_a_build",
    12.0,
    "h at bed temperature",
    Status.DEFAULT,
    "chosen by us",
    note="a build with this mean dose ages powder by one build's worth (about half the hours of a build of 20 h, plus "
    "cooling); hotter and higher builds count more",
)
SHARE_KEPT = Reference(
    "powder.share_kept",
    0.001,
    "of the powder in a build",
    Status.DEFAULT,
    "chosen by us",
    note="smallest share of a lot that is kept with a build for recall",
)
RECALL_THRESHOLD = Reference(
    "powder.recall_threshold",
    0.01,
    "of the powder in a build",
    Status.DEFAULT,
    "chosen by us",
    note="a recall without a stated threshold uses this one and says so",
)
SUPPLIER_LEAD_WEEKS = Reference(
    "powder.supplier_lead",
    4.0,
    "weeks",
    Status.COMMON_PRACTICE,
    "common practice",
    note="from order to delivery",
    low=2.0,
    high=6.0,
)
DEMAND_SPREAD = Reference(
    "powder.demand_spread",
    0.25,
    "relative",
    Status.DEFAULT,
    "chosen by us",
    note="one sigma of a coming week's charge around that of the plan",
)
USED_PLACE_KG = Reference(
    "powder.used_place",
    10.0,
    "kg per can",
    Status.DEFAULT,
    "chosen by us",
    note="what a can of used powder takes when it was booked without a size",
)
CLOTH_LIFE_KG = Reference(
    "powder.cloth_life",
    500.0,
    "kg",
    Status.DEFAULT,
    "chosen by us",
    note="powder through one sieve cloth before it is changed",
)
STORAGE_C = Reference(
    "powder.storage_temperature",
    20.0,
    "°C",
    Status.COMMON_PRACTICE,
    "common practice",
    note="store closed and dry",
    low=15.0,
    high=25.0,
)
STORAGE_HUMIDITY = Reference(
    "powder.storage_humidity",
    0.5,
    "relative humidity",
    Status.COMMON_PRACTICE,
    "common practice",
    note="drier powder charges up and spreads badly, wetter powder clumps",
    low=0.4,
    high=0.6,
)

CHANGEOVER_STAFFED_H = Reference(
    "powder.changeover_staffed",
    8.0,
    "h",
    Status.DEFAULT,
    "chosen by us",
    note="hours of somebody's work within the day that a change of material takes",
)
PURGE_KG = Reference(
    "powder.purge",
    5.0,
    "kg",
    Status.DEFAULT,
    "chosen by us",
    note="powder of the new material run through feeds and overflow and thrown away",
)

USE_BY_NOTICE_DAYS = Reference(
    "powder.use_by_notice",
    45.0,
    "days",
    Status.DEFAULT,
    "chosen by us",
    note="so long before its date a lot is named on the shelf page",
)
CHARGE_OPEN_DAYS = Reference(
    "powder.charge_open",
    7.0,
    "days",
    Status.DEFAULT,
    "chosen by us",
    note="a charge without any entry for so long is asked about",
)
WEIGH_IN_DAYS = Reference(
    "powder.weigh_in",
    31.0,
    "days",
    Status.COMMON_PRACTICE,
    "common practice",
    note="every can comes onto the scale once a month",
)

LOTS_BEFORE = Reference(
    "powder.lots_before",
    10.0,
    "lots",
    Status.COMMON_PRACTICE,
    "common practice",
    note="a delivered lot is compared with so many lots of its material before it",
)
