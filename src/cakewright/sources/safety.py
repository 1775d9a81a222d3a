"""Numbers behind the cautions and the papers of the floor."""

from cakewright.sources.reference import Reference, Status

_KURACINA_2021 = "Kuracina et al., Polymers 13(17) 3014, 2021, abstract (PA12, median 27.5 µm, dry, EN 14034)"
_KURACINA_2023 = "Polymers 15(21) 4203, 2023, abstract (PA12)"
_PRACTICE = "common practice, no source"
_OURS = "chosen by us"

DUST_MAX_PRESSURE = Reference("safety.dust_max_pressure", 6.78, "bar", Status.READ, _KURACINA_2021)
DUST_KST = Reference("safety.dust_kst", 112.2, "bar m/s", Status.READ, _KURACINA_2021)
DUST_CLOUD_IGNITION = Reference("safety.dust_cloud_ignition", 450.0, "°C", Status.READ, _KURACINA_2021)
DUST_KST_SECOND = Reference("safety.dust_kst_second", 116.6, "bar m/s", Status.READ, _KURACINA_2023)
DUST_LOWER_LIMIT = Reference("safety.dust_lower_limit", 30.0, "g/m³", Status.READ, _KURACINA_2023)
DUST_EXAMPLE_MASS = Reference(
    "safety.dust_example_mass", 0.5, "kg", Status.DEFAULT, _OURS, "a spilled scoop, to give the limit a size"
)
DUST_LAYER_LIMIT = Reference(
    "safety.dust_layer_limit",
    0.8,
    "mm",
    Status.FROM_MEMORY,
    "US housekeeping practice (1/32 in over more than 5 % of the floor), not checked against the text",
)
OXYGEN_MINIMUM = Reference(
    "safety.oxygen_minimum", 19.5, "%", Status.FROM_MEMORY, "US OSHA definition of oxygen-deficient air, not checked"
)
STATION_DISTANCE = Reference(
    "safety.station_distance", 10.0, "m", Status.COMMON_PRACTICE, _PRACTICE, "recovery station to the nearest desk"
)
PRE_PRINT_MINUTES = Reference(
    "safety.pre_print_minutes", 10.0, "min", Status.COMMON_PRACTICE, _PRACTICE, "checks before a start"
)
FRAGILE_WARNING = Reference(
    "safety.fragile_warning", 20.0, "mm", Status.DEFAULT, _OURS, "depth at which the map announces a fragile piece"
)
