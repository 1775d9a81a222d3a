"""Starting values of a cell file: what a new cell writes down before it has measured anything.

Each is a default to be replaced by the cell's own figure; the template made by `cakewright init`
prints value, unit, status and source from here.
"""

from cakewright.sources import wishes
from cakewright.sources.reference import Reference, Status

_OURS = "our starting value"
_TRADE = "the trade of polymer laser sintering"
_DENSITY_MEMO = "handbook and data-sheet values gathered second-hand; Morano & Pagnotta, Polymers 15(22) 4446, 2023"
_PILIPOVIC = "Appl. Sci. 14(3) 976, 2024, introduction"
_COLUCCI = "Colucci et al., Polymers 16, 2024 (desktop-class machine, layer 0.10 mm), quoted second-hand"

D, CP, M = Status.DEFAULT, Status.COMMON_PRACTICE, Status.FROM_MEMORY
SECOND, READ = Status.SECOND_HAND, Status.READ


def _ref(
    name: str,
    value: float,
    unit: str,
    status: Status,
    source: str,
    note: str = "",
    low: float | None = None,
    high: float | None = None,
) -> Reference:
    return Reference(f"cell.{name}", value, unit, status, source, note, low, high)


CELL_DEFAULTS: dict[str, Reference] = {
    r.name.removeprefix("cell."): r
    for r in (
        _ref("cell.room_c", 22, "°C", D, _OURS, "temperature of the room where cakes cool"),
        # powder
        _ref("material.sintered_density_g_cm3", 0.95, "g/cm³", SECOND, _DENSITY_MEMO, "weigh a 20 mm cube", 0.88, 0.99),
        _ref("material.bed_density_g_cm3", 0.47, "g/cm³", READ, "De Sousa Alves, Soliman, Kontziampasis 2025, "
             "repository (not peer reviewed)", "weigh one litre taken from the bed", 0.42, 0.50),
        _ref("material.bed_temperature_c", 170, "°C", SECOND, _COLUCCI, "set point of the powder surface", 165, 178),
        _ref("material.opening_temperature_c", 50, "°C", CP, _TRADE, "warmest point of the cake at break-out", 40, 60),
        _ref("material.cake_conductivity_w_mk", 0.10, "W/(m K)", M, "Yuan, Bourell, Beaman, SFF 2011",
             "a thermocouple in a cake gives your own", 0.08, 0.15),
        _ref("material.cake_heat_capacity_j_kgk", 2400, "J/(kg K)", M, "DSC literature on PA12 powder", "", 1700, 3000),
        _ref("material.virgin_price_per_kg", 65, "currency/kg", D, _OURS, "from your last invoice"),
        _ref("material.virgin_kg", 40, "kg", D, _OURS, "weigh the stock on the day of the plan"),
        _ref("material.used_kg", 30, "kg", D, _OURS, "weigh the stock on the day of the plan"),
        _ref("material.loss_fraction", 0.04, "share of unsintered powder", D, _OURS,
             "crust, dust and hoses; close your own monthly powder balance", 0.0, 0.10),
        _ref("material.minimum_wall_mm", 0.8, "mm", CP, _TRADE, "thinnest wall accepted without asking", 0.6, 1.0),
        # chamber
        _ref("chamber_type.x_mm", 190, "mm", D, _OURS, "inside width"),
        _ref("chamber_type.y_mm", 240, "mm", D, _OURS, "inside depth"),
        _ref("chamber_type.z_mm", 320, "mm", D, _OURS, "inside height"),
        _ref("chamber_type.wall_margin_mm", 5, "mm", CP, _TRADE, "kept free along the side walls", 5, 10),
        _ref("chamber_type.base_mm", 8, "mm", CP, _TRADE, "powder under the first part layer", 5, 10),
        _ref("chamber_type.cover_mm", 5, "mm", READ, _PILIPOVIC, "powder over the last part layer", 3, 5),
        _ref("chamber_type.surface_coefficient_w_m2k", 10, "W/(m² K)", D, _OURS,
             "cake skin to room through the chamber wall; lower for an insulated chamber", 5, 15),
        _ref("chamber_type.clean_min", 30, "min", D, _OURS, "empty chamber to ready for the next build"),
        # machine
        _ref("machine.layer_mm", 0.10, "mm", CP, _TRADE, "", 0.06, 0.15),
        _ref("machine.warm_up_min", 90, "min", M, "trade experience of 1 to 2 h", "door closed to first layer", 60,
             120),
        _ref("machine.recoat_s", 10, "s", D, _OURS, "time between layers with nothing to sinter"),
        _ref("machine.minimum_layer_s", 0, "s", D, _OURS, "shortest scan time the machine waits for; 0 for none"),
        _ref("machine.hatch_spacing_mm", 0.20, "mm", D, _OURS, "distance between scan lines"),
        _ref("machine.hatch_speed_mm_s", 3300, "mm/s", SECOND, _COLUCCI, "speed along scan lines"),
        _ref("machine.contour_speed_mm_s", 2000, "mm/s", D, _OURS, "speed along outlines"),
        _ref("machine.jump_s", 0.02, "s", D, _OURS, "time lost for each outline in a layer"),
        _ref("machine.end_min", 15, "min", D, _OURS, "last layer to chamber released"),
        _ref("machine.load_min", 30, "min", D, _OURS, "hands: chamber in, powder in, check list, start"),
        _ref("machine.unload_min", 15, "min", D, _OURS, "hands: chamber out onto its trolley"),
        _ref("machine.minimum_cool_in_machine_min", 120, "min", READ, _PILIPOVIC,
             "before the chamber may leave the machine"),
        _ref("machine.rate_per_h", 9, "currency/h", D, _OURS, "depreciation, service, energy, room"),
        _ref("machine.feed_overflow_fraction", 0.15, "share of powder spread", D, _OURS,
             "extra powder carried over the edge at each layer"),
        _ref("machine.dead_powder_kg", 1.0, "kg", D, _OURS, "stays in feed and recoater at the end"),
        # stations
        _ref("station.capacity_l", 12, "L", D, _OURS, "0 where it does not matter"),
        # finishing
        _ref("finish.step.minutes", 10, "min", D, _OURS, "one basket or bath"),
        _ref("finish.step.staffed_min", 10, "min", D, _OURS, "part of it that needs hands"),
        _ref("finish.step.per_piece_s", 8, "s", D, _OURS, "hands for each piece"),
        _ref("finish.step.wait_min", 0, "min", D, _OURS, "drying or curing afterwards, no hands"),
        _ref("finish.dye.minutes", 75, "min", M, "trade experience of 30 to 90 min with rinsing", "", 30, 90),
        _ref("finish.dye.staffed_min", 25, "min", D, _OURS, "prepare, rinse, empty"),
        _ref("finish.dye.wait_min", 120, "min", D, _OURS, "drying on the rack"),
        _ref("finish.flat_price", 0, "currency", D, _OURS, "consumables for a basket or bath"),
        _ref("finish.dye.flat_price", 12, "currency", D, _OURS, "dye and water for a bath"),
        # classes
        _ref("class.draft.refresh_ratio", 0.30, "virgin / charge", READ,
             "Josupeit et al. 2015, doi 10.1007/978-3-662-48473-9_5, abstract (recycling-optimised grade)",
             "ask the powder's supplier", 0.2, 0.5),
        _ref("class.standard.refresh_ratio", 0.40, "virgin / charge", D, _OURS, "between 30 and 50 % of Josupeit 2015"),
        _ref("class.fine.refresh_ratio", 0.50, "virgin / charge", READ,
             "Josupeit et al. 2015, doi 10.1007/978-3-662-48473-9_5, abstract (standard grade)", "", 0.3, 1.0),
        _ref("class.draft.weight", 1, "-", D, _OURS, "how much a late day of this class matters"),
        _ref("class.standard.weight", 2, "-", D, _OURS, "how much a late day of this class matters"),
        _ref("class.fine.weight", 3, "-", D, _OURS, "how much a late day of this class matters"),
        _ref("class.draft.inspect_s_per_piece", 5, "s", D, _OURS, "look and count"),
        _ref("class.standard.inspect_s_per_piece", 20, "s", D, _OURS, "look, count, one dimension"),
        _ref("class.fine.inspect_s_per_piece", 90, "s", D, _OURS, "critical dimensions"),
        # money and hands
        _ref("rates.hands_per_h", 48, "currency/h", D, _OURS, "wage with everything on it"),
        _ref("rates.fixed_min_per_line", 8, "min", D, _OURS, "file check, papers"),
        _ref("rates.unpack_min_per_build", 40, "min", D, _OURS, "cake out, sieve, sweep"),
        _ref("rates.unpack_s_per_piece", 25, "s", D, _OURS, "find, lift, brush"),
        _ref("rates.count_s_per_piece", 4, "s", D, _OURS, ""),
        _ref("rates.pack_min_per_line", 5, "min", D, _OURS, "bag, label, note"),
        _ref("rates.margin", 0.25, "share of cost", D, _OURS, "put on top of cost in quotes"),
        _ref("rates.price_step", 1, "currency", D, _OURS, "quoted prices are rounded up to a multiple of this"),
        _ref("rates.quote_valid_days", 30, "days", D, _OURS, "how long a quote holds"),
        _ref("rates.late_price_share", 0.1, "share of cost", D, _OURS, "what being late costs, times the class weight"),
        # nesting
        _ref("nesting.clearance_mm", 4, "mm", CP, _TRADE, "part to part", 3, 5),
        _ref("nesting.voxel_mm", 2, "mm", D, _OURS, "grid of the search; finer is slower"),
        _ref("nesting.seconds_per_build", 20, "s", D, _OURS, "time to look for a better arrangement"),
        _ref("nesting.seed", 1, "-", D, _OURS, "same seed, same arrangement"),
        _ref("nesting.thick_clearance_mm", 0, "mm", CP, _TRADE, "between thick parts; 5 to 8 is usual, 0: none", 0, 8),
        _ref("nesting.cage_below_mm", 0, "mm", D, _OURS, "longest side; smaller pieces go into cages, 0: none"),
        _ref("nesting.end_weight", wishes.WEIGHT_END.value, "mm/point", D, _OURS,
             "worth of a point of the price of its ending hours"),
        _ref("nesting.even_area_weight", wishes.WEIGHT_EVENNESS.value, "mm/cm²", D, _OURS,
             "worth of 1 cm² of jumps in area over the limit"),
        _ref("nesting.crowding_weight", wishes.WEIGHT_CROWDING.value, "mm/cm³", D, _OURS,
             "worth of 1 cm³ too much in a crowded zone"),
        _ref("nesting.early_weight", wishes.WEIGHT_EARLY.value, "mm/mm", D, _OURS,
             "worth of 1 mm of mean top of must-have pieces"),
        _ref("nesting.fragile_weight", wishes.WEIGHT_FRAGILE.value, "mm/cm³", D, _OURS,
             "worth of 1 cm³ of heavier parts above delicate ones"),
        _ref("nesting.together_weight", wishes.WEIGHT_TOGETHER.value, "mm/mm", D, _OURS,
             "worth of 1 mm from the middle of a line, on average"),
        _ref("nesting.apart_weight", wishes.WEIGHT_APART.value, "mm/mm", D, _OURS,
             "worth of 1 mm short of 30 mm between look-alikes"),
        # history
        _ref("failures.failed", 3, "builds", D, _OURS, "count your own"),
        _ref("failures.builds", 60, "builds", D, _OURS, "count your own; published rates (2 to 8 %) have no study "
             "behind them"),
    )
}  # fmt: skip
