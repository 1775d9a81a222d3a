"""What each powder family can show: walls, holes, gaps, letters. Every limit can be replaced in the cell file."""

from cakewright.sources.reference import Reference, Status

_GUIDES = "design guides of service bureaus, unverified"
_OURS = "chosen for this program"
CP, M, D = Status.COMMON_PRACTICE, Status.FROM_MEMORY, Status.DEFAULT

# name: (unit, meaning)
LIMIT_MEANINGS: dict[str, tuple[str, str]] = {
    "wall_mm": ("mm", "thinnest wall"),
    "thick_mm": ("mm", "thickest solid section before it sinks, yellows or curls"),
    "hole_mm": ("mm", "smallest round hole that stays open"),
    "depth_ratio": ("depth / diameter", "deepest blind hole that blasting still clears"),
    "channel_mm": ("mm", "smallest channel that is deep or bent and open at both ends"),
    "blind_channel_mm": ("mm", "smallest channel that is deep and open at one end only"),
    "pin_mm": ("mm", "thinnest pin"),
    "slender_ratio": ("length / diameter", "most slender pin that survives break-out and blasting"),
    "slot_mm": ("mm", "narrowest slot in one body"),
    "moving_mm": ("mm", "smallest gap between bodies that must move, facing each other over a large area"),
    "moving_small_mm": ("mm", "the same where the facing area is small"),
    "escape_mm": ("mm", "smallest opening through which powder comes out"),
    "text_height_mm": ("mm", "lowest letter that can be read"),
    "text_depth_mm": ("mm", "flattest raised or engraved letter that survives blasting"),
    "text_stroke_mm": ("mm", "narrowest stroke of a letter"),
    "knife_deg": ("°", "sharpest edge angle that is not rounded off or broken"),
    "plate_mm": ("mm", "longest flat face that stays flat without care"),
    "warp_index_mm2": ("mm²", "flat area x length / thickness above which a plate is likely to curl"),
}


def _limits(family: str, others: dict[str, Reference], **own: tuple[object, ...]) -> dict[str, Reference]:
    """The limits of a family: its own, and for the rest those of `others`, filed under its own name and unverified."""
    found = {}
    for name, (unit, meaning) in LIMIT_MEANINGS.items():
        if name in own:
            value, status, source, note, low, high = own[name]
        else:
            same = others[name]
            value, status, source, low, high = same.value, D, _OURS, same.low, same.high
            note = "taken over from PA12: no value for this powder was read"
        found[name] = Reference(
            f"printability.{family}.{name}", float(value), unit, status, source,  # type: ignore[arg-type]
            f"{meaning}; {note}" if note else meaning, low, high,  # type: ignore[arg-type]
        )  # fmt: skip
    return found


_PA12 = _limits(
    "pa12", {},
    wall_mm=(0.8, CP, _GUIDES, "0.6 to 1.0; 0.3 lying, 0.6 upright in one guide", 0.3, 1.5),
    thick_mm=(10.0, CP, _GUIDES, "8 mm for parts to 100 mm, 10 mm to 250 mm in one guide", 8.0, 25.0),
    hole_mm=(1.5, CP, _GUIDES, "1.0 to 2.0; larger when deeper", 1.0, 2.0),
    depth_ratio=(6.0, D, _OURS, "guides only say 'larger when deeper'", 3.0, 15.0),
    channel_mm=(2.5, CP, _GUIDES, "2.5 to 3.0, better 4 to 5", 2.5, 5.0),
    blind_channel_mm=(4.0, CP, _GUIDES, "below 4 mm only when open at both ends", 3.0, 6.0),
    pin_mm=(0.8, CP, _GUIDES, "", 0.8, 1.5),
    slender_ratio=(10.0, D, _OURS, "bends when the cake is broken or the jet hits it", 6.0, 20.0),
    slot_mm=(0.5, CP, _GUIDES, "closes sooner where the walls around are thicker than 2 mm", 0.3, 0.8),
    moving_mm=(0.5, CP, _GUIDES, "0.3 to 1.0; more for parts above 100 mm", 0.3, 1.0),
    moving_small_mm=(0.3, CP, _GUIDES, "facing area below 20 mm²", 0.3, 0.5),
    escape_mm=(3.5, CP, _GUIDES, "3 to 3.5, and at least two", 3.0, 6.0),
    text_height_mm=(2.0, CP, _GUIDES, "without serifs", 2.0, 4.0),
    text_depth_mm=(0.5, M, "common in marking of sintered parts, unverified", "0.4 to 0.8; guides ask for 1", 0.4, 1.0),
    text_stroke_mm=(0.5, M, "common in marking of sintered parts, unverified", "", 0.4, 1.0),
    knife_deg=(20.0, D, _OURS, "", 10.0, 45.0),
    plate_mm=(100.0, CP, _GUIDES, "plates above 100 mm curl at their corners", 80.0, 150.0),
    warp_index_mm2=(200_000.0, D, _OURS, "a plate of 100 x 60 x 3 mm; raise it once your own plates come out flat",
                    50_000.0, 1_000_000.0),
)  # fmt: skip

LIMITS: dict[str, dict[str, Reference]] = {
    "PA12": _PA12,
    "PA11": _limits("pa11", _PA12),
    "PA12 glass-filled": _limits(
        "pa12_gf", _PA12,
        wall_mm=(1.0, D, _OURS, "filled powders need more: one guide asks 2.0 for carbon-filled", 0.8, 2.0),
        escape_mm=(5.0, D, _OURS, "guides only say that glass-filled powder needs larger openings", 3.5, 8.0),
        hole_mm=(2.0, D, _OURS, "", 1.5, 3.0),
    ),
    "TPU": _limits(
        "tpu", _PA12,
        wall_mm=(1.0, D, _OURS, "", 0.8, 2.0),
        moving_mm=(0.8, D, _OURS, "powder that sticks more needs more room", 0.5, 1.5),
        slot_mm=(0.8, D, _OURS, "", 0.5, 1.5),
        slender_ratio=(20.0, D, _OURS, "it bends back", 8.0, 40.0),
        escape_mm=(5.0, D, _OURS, "cakes of soft powders are harder to clear", 3.5, 8.0),
    ),
    "PP": _limits(
        "pp", _PA12,
        wall_mm=(1.0, D, _OURS, "", 0.8, 2.0),
        warp_index_mm2=(100_000.0, D, _OURS, "shrinks more on cooling than PA12", 25_000.0, 500_000.0),
    ),
}  # fmt: skip

FACING_AREA_SMALL = Reference(
    "printability.facing_area_small", 20.0, "mm2", CP, "design guide for a desktop-class machine, unverified",
    "facing area below which the smaller moving gap is enough", 10.0, 50.0,
)  # fmt: skip
TOLERANCE_MM = Reference(
    "printability.general_tolerance", 0.3, "mm", CP, _GUIDES, "or 0.2 % of the length where that is more", 0.2, 0.5
)
TOLERANCE_SHARE = Reference(
    "printability.general_tolerance_share", 0.002, "of the length", CP, _GUIDES, "or 0.3 mm where that is more"
)
FACET_SHARE = Reference(
    "printability.facet_share", 0.25, "of the tolerance", D, _OURS,
    "how much of the tolerance the flat triangles of a curved face may use up", 0.1, 0.5,
)  # fmt: skip
FEATURE_SPOTS = Reference(
    "printability.spots", 9000.0, "points", D, _OURS, "points of the surface at which balls are inscribed", 1000, 1e6
)
LARGEST_FEATURE = Reference(
    "printability.largest_feature", 12.0, "mm", D, _OURS,
    "holes, slots and pins wider than this are not listed: no limit is near", 6.0, 30.0,
)  # fmt: skip
SMALLEST_AREA = Reference(
    "printability.smallest_area", 4.0, "mm2", D, _OURS, "thin or narrow regions below this are not reported", 1.0, 20.0
)
UNKNOWN_WORTH_SAYING = Reference(
    "printability.unknown_worth_saying", 0.01, "share of surface", D, _OURS,
    "share of inward rays without a far side from which it is said", 0.001, 0.1,
)  # fmt: skip
KNIFE_LENGTH = Reference(
    "printability.knife_length", 5.0, "mm", D, _OURS, "sharp edges that together are shorter are not reported", 1, 20
)
THICK_WARNING = Reference(
    "printability.thick_warning", 2.5, "times the limit", D, _OURS,
    "a section this much thicker than the limit is worth a question, not only a note", 1.5, 5.0,
)  # fmt: skip

# --- how long it takes to get the powder out ------------------------------------------------------------------------
CLEAN_OPENING_MIN = Reference(
    "printability.clean_opening", 0.25, "min", D, _OURS, "hands for each hole or channel: find it, aim the jet", 0.1, 2
)
CLEAN_PER_DIAMETER_MIN = Reference(
    "printability.clean_per_diameter", 0.08, "min", D, _OURS,
    "more for each diameter of depth beyond the third: powder has to be poked loose", 0.02, 0.5,
)  # fmt: skip
CLEAN_BEND_FACTOR = Reference(
    "printability.clean_bend",
    2.0,
    "times",
    D,
    _OURS,
    "a channel with one bend takes so many times as long as a straight one, each further bend as much again",
    1.2,
    5.0,
)
CLEAN_POCKET_MIN_PER_CM3 = Reference(
    "printability.clean_pocket", 1.0, "min/cm3", D, _OURS, "hands to empty a pocket through a small opening", 0.2, 10
)
CLEAN_WORTH_SAYING_MIN = Reference(
    "printability.clean_worth_saying", 2.0, "min", D, _OURS, "cleaning time a piece from which it is reported", 0.5, 10
)
