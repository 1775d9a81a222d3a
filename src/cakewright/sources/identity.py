"""Sizes of marks on parts and of the cages for loose pieces."""

from cakewright.sources.reference import Reference, Status

_MEM = "from memory of design rules for sintered parts, no source read"

MARK_CELL = Reference(
    "identity.mark_cell",
    0.6,
    "mm",
    Status.FROM_MEMORY,
    _MEM,
    "width of a stroke; letters are 7 cells high, 4.2 mm",
    0.5,
    1.0,
)
DOT_CELL = Reference(
    "identity.dot_cell", 1.0, "mm", Status.FROM_MEMORY, _MEM, "edge of a dot; a row of dots is 3 cells high", 0.8, 2.0
)
MARK_DEPTH = Reference(
    "identity.mark_depth",
    0.6,
    "mm",
    Status.FROM_MEMORY,
    _MEM,
    "depth or height of a mark; blasting takes some",
    0.4,
    0.8,
)
MARK_BACK = Reference(
    "identity.mark_back",
    1.0,
    "mm",
    Status.COMMON_PRACTICE,
    "common practice, no source",
    "wall left behind an engraved mark",
    0.8,
    2.0,
)
MARK_MARGIN = Reference(
    "identity.mark_margin", 1.0, "mm", Status.DEFAULT, "chosen here", "flat face left around a mark", 0.5, 3.0
)
CAGE_STRUT = Reference(
    "identity.cage_strut",
    1.6,
    "mm",
    Status.COMMON_PRACTICE,
    "common practice, no source: lattices from 1 mm print, from 1.5 mm they survive break-out",
    "edge of the bars of a cage",
    1.2,
    2.5,
)
CAGE_OPENING_MOST = Reference(
    "identity.cage_opening_most", 8.0, "mm", Status.DEFAULT, "chosen here", "wider openings save nothing", 4.0, 15.0
)
CAGE_OPENING_LEAST = Reference(
    "identity.cage_opening_least",
    2.5,
    "mm",
    Status.COMMON_PRACTICE,
    "common practice, no source: loose powder is shaken and blown through a grid of 2 to 3 mm",
    "narrower openings keep the powder in",
    2.0,
    4.0,
)
CAGE_OPENING_SHARE = Reference(
    "identity.cage_opening_share",
    0.8,
    "1",
    Status.DEFAULT,
    "chosen here",
    "opening over the smallest opening that a piece can pass",
)
CAGE_LID_GAP = Reference(
    "identity.cage_lid_gap",
    1.0,
    "mm",
    Status.COMMON_PRACTICE,
    "common practice, no source: gaps below about 0.5 mm fuse",
    "under the lid; only the webs to break cross it",
    0.6,
    1.5,
)
CAGE_LARGEST = Reference(
    "identity.cage_largest", 150.0, "mm", Status.DEFAULT, "chosen here: held in one hand", "outer edge", 50.0, 250.0
)
CAGE_MOST = Reference(
    "identity.cage_most_pieces",
    200.0,
    "pieces",
    Status.DEFAULT,
    "chosen here",
    "in one cage; more go into a further one",
)
