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

# --- properties against temperature ------------------------------------------------------------------
COLD_POINT = Reference(
    "physics.property_cold_point", 40.0, "°C", Status.FROM_MEMORY, "Yuan, Bourell, Beaman, SFF 2011 (range recalled)"
)
HOT_POINT = Reference(
    "physics.property_hot_point", 170.0, "°C", Status.FROM_MEMORY, "Yuan, Bourell, Beaman, SFF 2011 (range recalled)"
)
POWDER_CONDUCTIVITY_COLD = Reference(
    "physics.powder_conductivity_cold",
    0.10,
    "W/(m K)",
    Status.FROM_MEMORY,
    "Yuan, Bourell, Beaman, SFF 2011 (recalled)",
    "only the ratio to the hot value is used",
)
POWDER_CONDUCTIVITY_HOT = Reference(
    "physics.powder_conductivity_hot",
    0.145,
    "W/(m K)",
    Status.FROM_MEMORY,
    "Yuan, Bourell, Beaman, SFF 2011 (recalled)",
    low=0.14,
    high=0.15,
)
POWDER_HEAT_CAPACITY_COLD = Reference(
    "physics.powder_heat_capacity_cold",
    1700.0,
    "J/(kg K)",
    Status.FROM_MEMORY,
    "differential scanning calorimetry literature on PA12 (recalled)",
    "only the ratio to the hot value is used",
)
POWDER_HEAT_CAPACITY_HOT = Reference(
    "physics.powder_heat_capacity_hot",
    2750.0,
    "J/(kg K)",
    Status.FROM_MEMORY,
    "differential scanning calorimetry literature on PA12 (recalled)",
    low=2500.0,
    high=3000.0,
)
CRYSTALLISATION_TEMPERATURE = Reference(
    "physics.crystallisation_temperature",
    138.0,
    "°C",
    Status.SECOND_HAND,
    "data sheet of a PA12 powder, quoted in a memo; Vendittoli et al., Sci. Rep. 2025 for the melting side",
)
CRYSTALLISATION_WIDTH = Reference(
    "physics.crystallisation_width",
    3.0,
    "°C",
    Status.DEFAULT,
    "chosen by us: standard deviation of the bell over which parts give off their crystallisation heat",
)
CRYSTALLISATION_HEAT = Reference(
    "physics.crystallisation_heat",
    55_000.0,
    "J/kg",
    Status.FROM_MEMORY,
    "sintered PA12 (recalled); about 115 000 J/kg is quoted for the melting of fresh powder, which is more crystalline",
    low=45_000.0,
    high=115_000.0,
)
COLUMNS_PER_CELL = Reference(
    "physics.columns_per_cell",
    4,
    "columns along one edge of a cell",
    Status.DEFAULT,
    "chosen by us: 8 mm cells are sampled every 2 mm; each piece is scaled to its exact volume afterwards",
)

# --- the machine around the cake ---------------------------------------------------------------------
PRINT_SIDE_TEMPERATURE = Reference(
    "physics.print_side_temperature",
    140.0,
    "°C",
    Status.SECOND_HAND,
    "Vendittoli et al., Sci. Rep. 2025: bed surface 178 °C, chamber 140 °C (PA12)",
    "walls and floor of the build chamber while printing",
)
MACHINE_DECAY = Reference(
    "physics.machine_decay",
    7200.0,
    "s",
    Status.DEFAULT,
    "chosen by us: time constant with which the inside of a switched-off machine falls to room temperature",
)
LEAVE_SKIN = Reference(
    "physics.leave_skin",
    100.0,
    "°C",
    Status.COMMON_PRACTICE,
    "keep the cake under inert gas while its skin is hotter: hot polyamide yellows in air",
)
CHAMBER_PRACTICE = Reference(
    "physics.chamber_practice",
    7200.0,
    "s",
    Status.READ,
    "Pilipović group, Appl. Sci. 2024 14(3) 976, introduction: about two hours in the chamber, then outside in powder",
)
CRYSTALLISATION_BELOW_BED = Reference(
    "physics.crystallisation_below_bed",
    10.0,
    "°C",
    Status.DERIVED,
    "Polymers 2018 10(2) 168, abstract: PA12 for laser sintering crystallises isothermally between 160 and 168 °C; "
    "a cake cools at a tenth of a degree a minute, so it solidifies there, not at 138 °C as a calorimeter at 10 to "
    "20 °C a minute shows (data sheet, second-hand)",
    "bed 170 °C less 160 °C; used for every material whose `solidifying_c` the cell file does not give",
    low=2.0,
    high=35.0,
)
AGEING_ENERGY = Reference(
    "physics.ageing_energy",
    90_000.0,
    "J/mol",
    Status.DEFAULT,
    "chosen by us within what is recalled for solid-state post-condensation of polyamides; "
    "Pham, Dotchev, Yusoff 2008: temperature and time at temperature drive ageing (no number)",
    low=60_000.0,
    high=120_000.0,
)
GAS_CONSTANT = Reference(
    "physics.gas_constant", 8.314462618, "J/(mol K)", Status.READ, "CODATA 2018, exact from the SI constants"
)
WARP_FRONT = Reference(
    "physics.warp_front",
    2.0,
    "°C/mm",
    Status.DEFAULT,
    "chosen by us: steeper than this while it solidifies, a piece is flagged for warp",
)
WARP_HOURS = Reference(
    "physics.warp_hours",
    24.0,
    "h",
    Status.DEFAULT,
    "chosen by us: longer than this above its crystallisation temperature, a piece is flagged (sag, colour)",
)
# --- the numerical grid ------------------------------------------------------------------------------
GRID = Reference(
    "physics.grid",
    8.0,
    "mm",
    Status.DERIVED,
    "convergence run on the cooling box: below 0.5 °C in the core from 24 cells across",
    "the largest cells; small cakes get smaller ones",
    low=2.0,
    high=10.0,
)
GRID_LEAST = Reference("physics.grid_least", 2.0, "mm", Status.DEFAULT, "chosen by us: finer changes nothing")
CELLS_ACROSS = Reference(
    "physics.cells_across",
    24,
    "cells along the smallest side",
    Status.DERIVED,
    "a 120 mm block with a plastic core stays within 0.5 °C of quadratic finite elements",
)
STEP_SIDE = Reference(
    "physics.step_side",
    190.0,
    "mm",
    Status.DERIVED,
    "smallest side of the cake for which the steps below were measured",
)
STEP_SHARE_LEAST = Reference(
    "physics.step_share_least", 0.3, "of the step side", Status.DEFAULT, "chosen by us: below 57 mm steps stay as short"
)
PRINT_STEP = Reference(
    "physics.print_step", 150.0, "s", Status.DERIVED, "energy of a whole build then closes to 0.1 % from 60 to 340 mm"
)
QUICK_STEPS = Reference(
    "physics.quick_steps", 2.0, "times", Status.DERIVED, "moves the opening by less than 0.01 h from 60 to 340 mm"
)
QUICK_SIDE = Reference(
    "physics.quick_side",
    300.0,
    "mm",
    Status.DERIVED,
    "smallest side from which the early case keeps its heat to 0.1 % with the quick steps (0.06 % at 340 mm)",
)
COOL_STEP_FIRST = Reference(
    "physics.cool_step_first", 30.0, "s", Status.DERIVED, "resolves the skin after the heaters go off"
)
COOL_STEP_LAST = Reference(
    "physics.cool_step_last",
    600.0,
    "s",
    Status.DERIVED,
    "energy of a whole build then closes to 0.1 % from 60 to 340 mm",
)
COOL_STEP_GROWTH = Reference("physics.cool_step_growth", 1.08, "factor", Status.DERIVED, "same convergence run")
LONGEST_COOLING = Reference(
    "physics.longest_cooling", 60 * 86_400.0, "s", Status.DEFAULT, "chosen by us: no cake takes two months"
)

# --- learning from the cell's own records ------------------------------------------------------------
TIME_PRIOR_FIXED = Reference(
    "physics.time_prior_fixed",
    0.5,
    "standard deviation of the logarithm",
    Status.DEFAULT,
    "chosen by us: how far warm-up and end may be from the cell file before logs say so",
)
TIME_PRIOR_LAYER = Reference(
    "physics.time_prior_layer",
    0.3,
    "standard deviation of the logarithm",
    Status.DEFAULT,
    "chosen by us: how far recoat, hatch and outline times may be from the cell file before logs say so",
)
TIME_PRIOR_WEIGHT = Reference(
    "physics.time_prior_weight",
    2.0,
    "builds",
    Status.DEFAULT,
    "chosen by us: how many builds the default spread counts for",
)
T_FREEDOM = Reference(
    "physics.time_degrees_of_freedom",
    4.0,
    "degrees of freedom",
    Status.FROM_MEMORY,
    "Lange, Little, Taylor, J. Am. Stat. Assoc. 84 (1989) 881-896: t law for residuals with outliers (recalled)",
)
NINETY = Reference(
    "physics.ninety_per_cent", 1.6448536, "standard deviations", Status.DERIVED, "95th percentile of the normal law"
)
PROBE_PRIOR = Reference(
    "physics.probe_prior",
    0.25,
    "standard deviation of the logarithm",
    Status.DEFAULT,
    "chosen by us: how far a chamber's cooling speed may be from the model before a probe says so",
)
LEARNT_SPREAD_LEAST = Reference(
    "physics.learnt_spread_least",
    1.1,
    "factor",
    Status.DEFAULT,
    "chosen by us: however many readings, the next cake and the places nobody measured differ by so much",
)
PROBE_ERROR = Reference(
    "physics.probe_error",
    3.0,
    "°C",
    Status.DEFAULT,
    "chosen by us: thermocouple, its place in the cake and the difference between one cake and the next together",
)

# --- risk --------------------------------------------------------------------------------------------
FAILURE_PRIOR_SHAPE = Reference(
    "physics.failure_prior_shape",
    0.5,
    "failures",
    Status.DERIVED,
    "shape of Jeffreys' prior of a Poisson rate (Jeffreys, Theory of Probability, 1961; recalled)",
)
FAILURE_PRIOR_RATE = Reference(
    "physics.failure_prior_rate",
    0.05,
    "failures per build",
    Status.COMMON_PRACTICE,
    "trade pages speak of 2 to 8 % of builds without a study behind it; no laser-sintering study was read",
    low=0.02,
    high=0.08,
)

# --- even heating ------------------------------------------------------------------------------------
AREA_JUMP = Reference(
    "physics.area_jump",
    0.05,
    "fraction of the floor",
    Status.DEFAULT,
    "chosen by us: a larger change of scanned area from one layer to the next is reported",
)
CROWDED = Reference(
    "physics.crowded_zone",
    2.5,
    "times the mean density",
    Status.DEFAULT,
    "chosen by us: a zone with more plastic than this is called crowded",
)
LATER_WORTH_SAYING = Reference(
    "physics.later_worth_saying",
    0.1,
    "h",
    Status.DEFAULT,
    "chosen by us: shorter delays are within the noise of the cells",
)
MOMENTS_KEPT = Reference(
    "physics.moments_kept", 48, "moments of one build", Status.DEFAULT, "chosen by us: enough to slide through the cake"
)
ZONES = Reference("physics.zones", 8, "zones along each side", Status.DEFAULT, "chosen by us")

# --- cooling as others tell it, beside what is computed -----------------------------------------------
COOLS_AS_LONG_AS_PRINTS = Reference(
    "physics.cools_as_long_as_prints",
    1.0,
    "of the print time",
    Status.READ,
    "Pilipović group, Appl. Sci. 2024 14(3) 976, introduction: cooling usually takes as long as the production does",
    "not used: neither this nor the next figure knows the size of the cake; the computation does",
)
COOLS_HALF_AS_LONG = Reference(
    "physics.cools_half_as_long",
    0.5,
    "of the print time",
    Status.COMMON_PRACTICE,
    "teaching text on laser sintering, no study behind it: up to half the build time",
    "not used, see above",
)

# --- drawing for the machine ---------------------------------------------------------------------------
LINEAR_SHRINK = Reference(
    "physics.linear_shrink",
    0.0325,
    "relative",
    Status.FROM_MEMORY,
    "common calibration values of PA12, about 3 to 3.5 % (recalled); shrinkage differs with place, orientation and "
    "exposure (Senthilkumaran, Pandey, Rao 2009; Steinberger et al., SFF; abstracts read)",
    "no default: a machine scales by itself or its ladder is measured; a learnt scale far from 0.967 deserves a look",
    low=0.03,
    high=0.035,
)
OFFSET_REACH = Reference(
    "physics.offset_reach",
    3.0,
    "times the offset",
    Status.DEFAULT,
    "chosen by us: a needle-sharp corner must not grow a spike",
)

# --- energy ------------------------------------------------------------------------------------------
ENERGY_LOWEST = Reference(
    "physics.energy_lowest",
    61 / 3.6,
    "kWh/kg",
    Status.READ,
    "Baumers et al., SFF 2011, abstract: 61 to 4849 MJ per kg deposited over all processes seen",
)
ENERGY_HIGHEST = Reference(
    "physics.energy_highest", 4849 / 3.6, "kWh/kg", Status.READ, "Baumers et al., SFF 2011, abstract"
)
ENERGY_LS = Reference(
    "physics.energy_laser_sintering",
    61.4,
    "kWh/kg",
    Status.FROM_MEMORY,
    "Baumers et al., Proc IMechE B 2011: 56.75 and 66.02 kWh/kg on two machines (recalled); "
    "Sreenivasan & Bourell SFF 2009 recalled at 14.5, below the lowest of the 2011 survey",
    low=56.75,
    high=66.02,
)
PRINTING_POWER = Reference(
    "physics.printing_power",
    2.0,
    "kW",
    Status.DEFAULT,
    "chosen by us for a machine of the small kind; a meter on the plug gives your own",
    low=1.0,
    high=6.0,
)
WARM_UP_ENERGY = Reference(
    "physics.warm_up_energy", 4.0, "kWh", Status.DEFAULT, "chosen by us: about two hours of heating", low=2.0, high=15.0
)
INERT_GAS = Reference(
    "physics.inert_gas",
    1.5,
    "m³/h",
    Status.DEFAULT,
    "chosen by us; Kellens et al., SFF 2011, abstract: inert gas is an important impact besides power (no number)",
    low=0.0,
    high=5.0,
)
