"""Numbers of build time, heat, risk, shrink, energy and gas, each with source and status."""

from cakewright.sources.reference import Reference, Status

_INCROPERA = "Incropera, DeWitt, Bergman, Lavine: Fundamentals of Heat and Mass Transfer, ch. 5"

# --- cake and powder ---------------------------------------------------------------------------------
POWDER_CONDUCTIVITY = Reference(
    "physics.powder_conductivity",
    0.10,
    "W/(m K)",
    Status.FROM_MEMORY,
    "Yuan, Bourell, Beaman, SFF 2011 (value recalled, table not read)",
    "loose PA12 powder: about 0.10 at 40 °C, 0.14 to 0.15 at 170 °C",
    low=0.10,
    high=0.15,
)
PART_CONDUCTIVITY = Reference(
    "physics.part_conductivity",
    0.20,
    "W/(m K)",
    Status.SECOND_HAND,
    "web table of sintered PA12, provenance unclear",
    low=0.19,
    high=0.28,
)
POWDER_HEAT_CAPACITY = Reference(
    "physics.powder_heat_capacity",
    2400.0,
    "J/(kg K)",
    Status.FROM_MEMORY,
    "differential scanning calorimetry literature on PA12 powder (recalled)",
    "about 1700 at room temperature rising to 2500 to 3000 near 150 °C; 2400 is the mean used for cooling",
    low=1700.0,
    high=3000.0,
)
DIFFUSIVITY_SPREAD = Reference(
    "physics.diffusivity_spread",
    1.25,
    "factor",
    Status.DEFAULT,
    "chosen by us to cover the recalled ranges of conductivity and heat capacity together",
    "early case: likely diffusivity times this; late case: divided by it",
)
SURFACE_SPREAD = Reference(
    "physics.surface_spread",
    1.5,
    "factor",
    Status.DEFAULT,
    "chosen by us: still air with radiation about 10 W/(m² K), an insulated chamber wall far less",
    "early case: likely surface coefficient times this; late case: divided by it",
)

# --- build time --------------------------------------------------------------------------------------
TIME_SPREAD = Reference(
    "physics.print_time_spread",
    0.05,
    "relative standard deviation",
    Status.DEFAULT,
    "chosen by us until the machine's own logs are fitted",
    "early analytic estimators were off by 0.3 to 14.5 % on stereolithography (Kechagias et al. 1997, in a review)",
    low=0.003,
    high=0.145,
)
SLICE_TOLERANCE = Reference(
    "physics.slice_tolerance",
    0.02,
    "fraction of the volume",
    Status.DEFAULT,
    "chosen by us: what a mesh with small cracks may differ, on top of the exact bound of the mid-layer rule",
)
SERIES_TERMS = Reference(
    "physics.series_terms",
    80,
    "terms",
    Status.DERIVED,
    _INCROPERA,
    "the 80th term of a slab is below 1e-9 from Fo = 0.0004 on",
)
