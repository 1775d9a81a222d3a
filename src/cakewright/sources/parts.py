"""Numbers that decide whether a part can be printed, read or told apart."""

from cakewright.sources.reference import Reference, Status

_OURS = "chosen for this program"
_TRADE = "design guides of service bureaus agree in range"

# --- units -------------------------------------------------------------------------------------------------------
SIZE_AGREES = Reference(
    "parts.size_agrees",
    0.03,
    "relative",
    Status.DEFAULT,
    _OURS,
    "a size in the file and a size on the order line are the same when they differ by no more than this",
    low=0.01,
    high=0.1,
)
VOLUME_AGREES = Reference(
    "parts.volume_agrees",
    0.05,
    "relative",
    Status.DEFAULT,
    _OURS,
    "as size_agrees, for volumes",
    low=0.01,
    high=0.1,
)
SMALLEST_PLAUSIBLE = Reference(
    "parts.smallest_plausible",
    5.0,
    "mm",
    Status.DEFAULT,
    _OURS,
    "longest edge of the box below which a part of a laser-sintering order is unlikely",
    low=1.0,
    high=10.0,
)
THINNEST_PLAUSIBLE = Reference(
    "parts.thinnest_plausible",
    0.1,
    "mm",
    Status.DEFAULT,
    _OURS,
    "shortest edge of the box below which a size is taken as absurd when a unit has to be guessed: a layer or so",
    low=0.05,
    high=0.5,
)
SMALL_BUT_SEEN = Reference(
    "parts.small_but_seen",
    12.0,
    "mm",
    Status.DEFAULT,
    _OURS,
    "longest edge below which a part without stated unit is worth a question",
    low=5.0,
    high=25.0,
)
UNIT_GUESS_SURE = Reference(
    "parts.unit_guess_sure",
    0.8,
    "probability",
    Status.DEFAULT,
    _OURS,
    "a unit other than mm is only guessed above this; below, mm is taken and a person is asked",
    low=0.5,
    high=0.99,
)

# --- closedness and agreement -------------------------------------------------------------------------------------
SMALLEST_VOID = Reference(
    "parts.smallest_void",
    1.0,
    "mm3",
    Status.DEFAULT,
    _OURS,
    "sealed voids below this hold less than half a milligram of powder and are not reported",
    low=0.1,
    high=10.0,
)

# --- walls --------------------------------------------------------------------------------------------------------
WALL_SHARE = Reference(
    "parts.wall_share",
    0.005,
    "share of surface",
    Status.DEFAULT,
    _OURS,
    "a wall below the minimum is reported when it is more than this share of the sampled surface",
    low=0.0,
    high=0.05,
)
WALL_RAYS = Reference(
    "parts.wall_rays",
    4000.0,
    "rays",
    Status.DEFAULT,
    _OURS,
    "rays sent per part to find thin walls",
    low=500,
    high=1e6,
)

# --- orientation --------------------------------------------------------------------------------------------------
CONE_TURNS = Reference(
    "parts.cone_turns",
    8.0,
    "turns",
    Status.DEFAULT,
    _OURS,
    "turns about the vertical tried for each tilt",
    low=4.0,
    high=72.0,
)

# --- telling apart --------------------------------------------------------------------------------------------------
CALLIPER = Reference(
    "parts.calliper",
    0.5,
    "mm",
    Status.DEFAULT,
    _OURS,
    "boxes closer than this are not told apart by a person with callipers at the sorting table",
    low=0.1,
    high=1.0,
)
SCALE = Reference(
    "parts.scale",
    0.03,
    "relative",
    Status.DEFAULT,
    _OURS,
    "masses closer than this are not told apart: the density of sintered parts varies about as much",
    low=0.01,
    high=0.05,
)
SAME_VOLUME = Reference(
    "parts.same_volume",
    0.002,
    "relative",
    Status.DEFAULT,
    _OURS,
    "two exports of the same part agree in volume within this",
    low=0.0005,
    high=0.01,
)
SAME_SKIN = Reference(
    "parts.same_skin",
    0.01,
    "mm",
    Status.DEFAULT,
    _OURS,
    "two exports of the same part agree in volume within a skin of this thickness all over: flat facets on curves take "
    "that much, while the process itself is not true to a tenth of a millimetre",
    low=0.002,
    high=0.03,
)
SAME_SHAPE = Reference(
    "parts.same_shape",
    0.02,
    "distance of shape distributions",
    Status.DEFAULT,
    _OURS,
    "largest gap between two cumulated distributions of point distances that still counts as the same shape; see "
    "benchmarks/signature.py for error rates",
    low=0.01,
    high=0.05,
)
CHIRAL = Reference(
    "parts.chiral",
    1e-12,
    "dimensionless",
    Status.DEFAULT,
    _OURS,
    "handedness (of exact third moments) below this is that of a part that equals its mirror image",
    low=1e-16,
    high=1e-6,
)
HAND_AGREES = Reference(
    "parts.hand_agrees",
    0.3,
    "relative",
    Status.DEFAULT,
    _OURS,
    "two handednesses are opposite when their sum is less than this share of their difference",
    low=0.05,
    high=0.6,
)
SAME_AREA = Reference(
    "parts.same_area",
    0.005,
    "relative",
    Status.DEFAULT,
    _OURS,
    "two exports of the same part agree in area within this",
    low=0.001,
    high=0.02,
)
SAME_MOMENTS = Reference(
    "parts.same_moments",
    0.003,
    "relative to the length of the shape",
    Status.DEFAULT,
    _OURS,
    "two exports of the same part agree in principal spreads and lopsidedness within this",
    low=0.0005,
    high=0.02,
)
WALL_TOLERANCE_MM = Reference(
    "parts.wall_tolerance",
    0.02,
    "mm",
    Status.DEFAULT,
    "chosen here",
    "a wall drawn at the limit measures this much less between the corners of its triangles",
)
CROSSING_DEPTH = Reference(
    "parts.crossing_depth",
    0.005,
    "mm",
    Status.DEFAULT,
    _OURS,
    "surfaces that pass through each other by less are taken as touching: a tenth of the finest layer is far more",
    low=0.001,
    high=0.02,
)
FAR_APART = Reference(
    "parts.far_apart",
    1.0,
    "longest edges of the largest body",
    Status.DEFAULT,
    _OURS,
    "bodies with more air than this between their boxes are probably separate pieces",
    low=0.5,
    high=5.0,
)
UNKNOWN_WALLS = Reference(
    "parts.unknown_walls",
    0.1,
    "share of surface",
    Status.DEFAULT,
    _OURS,
    "above this share of inward rays without a far side, part of the surface must look inwards",
    low=0.02,
    high=0.3,
)
WELD_DISTANCE = Reference(
    "parts.weld_distance",
    1e-5,
    "of the longest edge of the box",
    Status.DEFAULT,
    _OURS,
    "the repair joins vertices of open edges that are nearer than this: 3 µm on a 300 mm part",
    low=1e-6,
    high=1e-3,
)
HOLE_SHARE = Reference(
    "parts.hole_share",
    0.01,
    "of the surface",
    Status.DEFAULT,
    _OURS,
    "the repair closes holes up to this size; larger ones would be guesswork",
    low=0.001,
    high=0.05,
)
STRENGTH_ACROSS = Reference(
    "parts.strength_across",
    0.84,
    "of the strength within layers",
    Status.READ,
    "Ajoku, Saleh, Hopkinson, Hague, Erasenthiran, Proc. IMechE Part B 2006 (JEM537), abstract",
    "laser-sintered nylon 12, tensile: at most 16 % between directions, Z weakest; base of the percentage not stated",
    low=0.8,
    high=1.0,
)
W_HEIGHT = Reference(
    "parts.orientation_weight_height",
    0.3,
    "share",
    Status.DEFAULT,
    _OURS,
    "weight in the orientation score, each term relative to its worst turn: layers are machine time",
    low=0.0,
    high=1.0,
)
W_BOX = Reference(
    "parts.orientation_weight_box",
    0.25,
    "share",
    Status.DEFAULT,
    _OURS,
    "weight in the orientation score, each term relative to its worst turn: box volume is chamber space",
    low=0.0,
    high=1.0,
)
W_STAIR = Reference(
    "parts.orientation_weight_stair",
    0.2,
    "share",
    Status.DEFAULT,
    _OURS,
    "weight in the orientation score, each term relative to its worst turn: steps on sloped faces",
    low=0.0,
    high=1.0,
)
W_FLAT = Reference(
    "parts.orientation_weight_flat",
    0.15,
    "share",
    Status.DEFAULT,
    _OURS,
    "weight in the orientation score, each term relative to its worst turn: large level areas warp",
    low=0.0,
    high=1.0,
)
W_STRENGTH = Reference(
    "parts.orientation_weight_strength",
    0.1,
    "share",
    Status.DEFAULT,
    _OURS,
    "weight in the orientation score, each term relative to its worst turn: load across layers",
    low=0.0,
    high=1.0,
)
W_POCKET = Reference(
    "parts.orientation_weight_pocket",
    0.1,
    "share",
    Status.DEFAULT,
    _OURS,
    "weight in the orientation score, each term relative to its worst turn: hollows that open upwards keep powder",
    low=0.0,
    high=1.0,
)
ESCAPE_OPENING = Reference(
    "parts.escape_opening",
    3.5,
    "mm",
    Status.COMMON_PRACTICE,
    "design guide of a service bureau for PA12: at least 3.5 mm and at least two openings per cavity",
    "another guide asks for 3 mm; glass-filled powder needs more",
    low=3.0,
    high=6.0,
)
SMALLEST_POCKET = Reference(
    "parts.smallest_pocket",
    200.0,
    "mm3",
    Status.DEFAULT,
    _OURS,
    "pockets of powder below this are blown or poked out and not reported",
    low=50.0,
    high=2000.0,
)
SMALLEST_GAP = Reference(
    "parts.smallest_gap",
    0.5,
    "mm",
    Status.COMMON_PRACTICE,
    "design guides of service bureaus for PA12: 0.3 to 0.5 mm at least between moving faces, slots 0.5 mm",
    "larger for parts above 100 mm, for large facing areas and where the walls around are thick",
    low=0.3,
    high=1.0,
)
STEP_CHORD = Reference(
    "parts.step_chord",
    0.02,
    "mm",
    Status.COMMON_PRACTICE,
    "trade practice for sintered parts: 0.01 to 0.05 mm",
    "how far triangles may lie off the curved faces of a STEP file",
    low=0.005,
    high=0.05,
)
STEP_ANGLE = Reference(
    "parts.step_angle",
    10.0,
    "degrees",
    Status.DEFAULT,
    _OURS,
    "how far neighbouring triangles of a curved face of a STEP file may turn",
    low=2.0,
    high=20.0,
)
