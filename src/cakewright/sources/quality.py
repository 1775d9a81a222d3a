"""Numbers about measuring and deciding: chart settings, sampling tables, tolerance grades."""

from cakewright.sources.reference import Reference, Status

EWMA_LAMBDA = Reference(
    "quality.ewma_lambda",
    0.2,
    "1",
    Status.COMMON_PRACTICE,
    "common practice",
    note="weight of the newest point",
    low=0.05,
    high=0.4,
)
RUN_LENGTH = Reference(
    "quality.run_length",
    8.0,
    "points",
    Status.COMMON_PRACTICE,
    "common practice",
    note="so many on one side are a signal",
)
SHRINK_GAIN = Reference(
    "quality.shrink_gain",
    0.3,
    "1",
    Status.DEFAULT,
    "chosen by us",
    note="share of a measured scale error that one change corrects: filter, do not chase noise",
    low=0.0,
    high=1.0,
)
MASS_SPREAD = Reference(
    "quality.mass_spread",
    0.02,
    "of the mass",
    Status.DEFAULT,
    "chosen by us",
    note="piece-to-piece spread of mass against volume times density",
)
SIZE_SPREAD = Reference(
    "quality.size_spread",
    0.15,
    "mm",
    Status.DEFAULT,
    "chosen by us",
    note="spread of a calliper value on an as-sintered part, constant part",
)
SIZE_SPREAD_PER_MM = Reference(
    "quality.size_spread_per_mm", 0.002, "mm/mm", Status.DEFAULT, "chosen by us", note="added per mm of length"
)
GAUGE_GOOD = Reference(
    "quality.gauge_good",
    0.10,
    "of the tolerance",
    Status.FROM_MEMORY,
    "AIAG, Measurement Systems Analysis, 4th ed., 2010",
)
GAUGE_POOR = Reference(
    "quality.gauge_poor",
    0.30,
    "of the tolerance",
    Status.FROM_MEMORY,
    "AIAG, Measurement Systems Analysis, 4th ed., 2010",
)
GAUGE_K1 = Reference(
    "quality.gauge_k1_3_trials", 0.5908, "1", Status.SECOND_HAND, "AIAG, MSA, 4th ed., 2010 (3 trials)"
)
GAUGE_K2 = Reference("quality.gauge_k2_3_appraisers", 0.5231, "1", Status.SECOND_HAND, "AIAG, MSA, 4th ed., 2010")
GAUGE_K3 = Reference(
    "quality.gauge_k3_10_parts", 0.3146, "1", Status.SECOND_HAND, "AIAG, MSA, 4th ed., 2010 (10 parts)"
)
GAUGE_CATEGORIES = Reference(
    "quality.gauge_categories", 1.41, "1", Status.SECOND_HAND, "AIAG, MSA, 4th ed., 2010", note="ndc = 1.41 PV/GRR"
)
Z_STRENGTH = Reference(
    "quality.z_strength_ratio",
    0.84,
    "of the best direction",
    Status.READ,
    "Ajoku et al., Proc. IMechE B, 2006, abstract: largest difference 16 %",
    note="base of the percentage is not stated in the abstract",
)
Z_MODULUS = Reference(
    "quality.z_modulus_ratio",
    0.888,
    "of the best direction",
    Status.READ,
    "Ajoku et al., Proc. IMechE B, 2006, abstract: largest difference 11.2 %",
    note="base of the percentage is not stated in the abstract",
)
ISO286_CUBE_ROOT = Reference(
    "quality.iso286_cube_root", 0.45, "µm/mm^(1/3)", Status.READ, "ISO 286-1:1988, i = 0.45 D^(1/3) + 0.001 D"
)
ISO286_LINEAR = Reference(
    "quality.iso286_linear", 0.001, "µm/mm", Status.READ, "ISO 286-1:1988, i = 0.45 D^(1/3) + 0.001 D"
)
SWITCH_WINDOW = Reference(
    "quality.switch_window", 5.0, "lots", Status.SECOND_HAND, "ISO 2859-1:1999, 9.3", note="normal to tightened: 2 of 5"
)

# ISO 286-1:1988, multiples of the unit i for grades IT5 .. IT16 (read in the text of IS 919-1)
ISO286_MULTIPLES: dict[int, int] = {
    5: 7, 6: 10, 7: 16, 8: 25, 9: 40, 10: 64, 11: 100, 12: 160, 13: 250, 14: 400, 15: 640, 16: 1000,
}  # fmt: skip
# ISO 286-1:1988, main steps of nominal sizes up to 500 mm
ISO286_STEPS_MM: tuple[float, ...] = (1, 3, 6, 10, 18, 30, 50, 80, 120, 180, 250, 315, 400, 500)

# MIL-STD-105E (1989) Table I = ISO 2859-1:1999 Table 1: largest lot size of the row, code letters by level
CODE_LETTERS: tuple[tuple[int | None, str], ...] = (
    (8, "AAAAAAB"), (15, "AAAAABC"), (25, "AABBBCD"), (50, "ABBCCDE"), (90, "BBCCCEF"), (150, "BBCDDFG"),
    (280, "BCDEEGH"), (500, "BCDEFHJ"), (1200, "CCEFGJK"), (3200, "CDEGHKL"), (10000, "CDFGJLM"),
    (35000, "CDFHKMN"), (150000, "DEGJLNP"), (500000, "DEGJMPQ"), (None, "DEHKNQR"),
)  # fmt: skip
LEVELS: tuple[str, ...] = ("S-1", "S-2", "S-3", "S-4", "I", "II", "III")
SAMPLE_SIZES: dict[str, int] = {
    "A": 2, "B": 3, "C": 5, "D": 8, "E": 13, "F": 20, "G": 32, "H": 50, "J": 80, "K": 125, "L": 200, "M": 315,
    "N": 500, "P": 800, "Q": 1250, "R": 2000,
}  # fmt: skip
AQL_COLUMNS: tuple[float, ...] = (0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0, 15.0)
# acceptance numbers along the diagonals of Tables 2-A and 2-B; "up" and "dn" are the arrows
NORMAL_DIAGONAL: tuple[int | str, ...] = (0, "up", "dn", 1, 2, 3, 5, 7, 10, 14, 21)
TIGHTENED_DIAGONAL: tuple[int | str, ...] = (0, "dn", "dn", 1, 2, 3, 5, 8, 12, 18)
