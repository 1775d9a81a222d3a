"""Every table and key of a cell file, what it means and what it may be.

The reader, the template, the reference page and its test all go by this one list.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from cakewright.formats import cell_values as v
from cakewright.formats.cell_values import Number, Reader
from cakewright.model import cell as m
from cakewright.sources import wishes

REQUIRED = object()


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a table. `field` is its name in the model when that differs."""

    name: str
    read: Reader
    what: str
    default: object = REQUIRED
    field: str = ""

    @property
    def is_required(self) -> bool:
        """True when the file must have it."""
        return self.default is REQUIRED


@dataclass(frozen=True, slots=True)
class Table:
    """One kind of table. `many` means [[name]] as often as needed; `inner` are tables inside it."""

    name: str
    field: str
    make: Callable[..., object]
    what: str
    keys: tuple[Key, ...]
    many: bool = True
    inner: tuple[Table, ...] = ()


def positive(unit: str) -> Number:
    """Above zero."""
    return Number(unit, above=0)


def not_negative(unit: str) -> Number:
    """Zero or more."""
    return Number(unit, least=0)


def share(unit: str) -> Number:
    """From 0 to 1."""
    return Number(unit, least=0, most=1)


def minutes() -> Number:
    """Whole minutes, zero or more."""
    return Number("min", least=0, whole=True)


NAME = Key("name", v.text, "what people call it; unique among its kind")

CELL = Table("cell", "", m.Cell, "The place.", many=False, keys=(
    Key("name", v.text, "name of the cell"),
    Key("timezone", v.text, "time zone of the shifts, such as Europe/Oslo or UTC"),
    Key("room_c", Number("°C", least=-10, most=50), "temperature of the room where cakes cool"),
    Key("holidays", v.dates, "days on which nobody works", ()),
    Key("notes", v.texts, "remarks for the papers", ()),
))  # fmt: skip

ARRIVAL = Table("arrival", "arrivals", m.Arrival, "Virgin powder on its way.", (
    Key("day", v.day, "day on which it comes in; used from the next morning on"),
    Key("kg", positive("kg"), "how much"),
))  # fmt: skip

MATERIAL = Table("material", "materials", m.Material, "A powder grade as this cell uses it.", (
    NAME,
    Key("sintered_density_g_cm3", positive("g/cm³"), "density of the finished part"),
    Key("bed_density_g_cm3", positive("g/cm³"), "density of the spread powder"),
    Key("bed_temperature_c", Number("°C", least=20, most=400), "temperature of the powder surface while printing"),
    Key("opening_temperature_c", Number("°C", least=20, most=200), "warmest point of the cake at which it is opened"),
    Key("cake_conductivity_w_mk", positive("W/(m K)"), "thermal conductivity of the cake"),
    Key("cake_heat_capacity_j_kgk", positive("J/(kg K)"), "specific heat capacity of the cake"),
    Key("virgin_price_per_kg", not_negative("currency/kg"), "price of virgin powder"),
    Key("virgin_kg", not_negative("kg"), "virgin powder in stock when the plan starts"),
    Key("used_kg", not_negative("kg"), "used powder in stock when the plan starts"),
    Key("loss_fraction", share("share of unsintered powder"), "what does not come back: crust, dust, hoses"),
    Key("minimum_wall_mm", positive("mm"), "thinnest wall accepted without asking"),
    Key("shrink_factor", v.triple, "scale factors x, y, z that the machine applies", (1.0, 1.0, 1.0)),
    Key("limits", v.printability, "printability limits of your own, such as { hole_mm = 1.2, moving_mm = 0.4 }", ()),
    Key("solidifying_c", Number("°C", least=0, most=400),
        "where parts solidify on cooling (held-temperature calorimeter curve); 0: bed temperature less 10", 0.0),
    Key("crystallisation_j_kg", not_negative("J/kg"), "heat given off by parts while they solidify; 0 leaves it out",
        0.0),
    Key("varies_with_temperature", v.yes_no, "true: conductivity and heat capacity rise with temperature", False),
), inner=(ARRIVAL,))  # fmt: skip

CHAMBER_TYPE = Table("chamber_type", "chamber_types", m.ChamberType, "A size of build chamber.", (
    NAME,
    Key("x_mm", positive("mm"), "inside width"),
    Key("y_mm", positive("mm"), "inside depth"),
    Key("z_mm", positive("mm"), "inside height"),
    Key("wall_margin_mm", not_negative("mm"), "kept free along the side walls"),
    Key("base_mm", not_negative("mm"), "powder under the first part layer"),
    Key("cover_mm", not_negative("mm"), "powder over the last part layer"),
    Key("surface_coefficient_w_m2k", positive("W/(m² K)"), "heat transfer from cake skin to room, through the wall"),
    Key("clean_min", minutes(), "from empty chamber to ready for the next build"),
    Key("cooling_speed", positive("x"), "how much faster its cakes cool than computed; learnt from probes", 1.0),
    Key("cooling_spread", not_negative("x"), "factor between likely and early or late cooling; 0: default", 0.0),
))  # fmt: skip

OTHERS = Key("other_materials", v.texts, "materials it may also be used for; empty for none", ())
NEEDS = Key("utilities", v.texts, "names of the utilities it cannot run without", ())

CHAMBER = Table("chamber", "chambers", m.Chamber, "One chamber on its trolley.", (
    NAME,
    Key("type", v.text, "name of a chamber_type"),
    Key("material", v.text, "name of the material it is dedicated to"),
    OTHERS,
))  # fmt: skip

MACHINE = Table("machine", "machines", m.Machine, "A laser-sintering machine.", (
    NAME,
    Key("material", v.text, "name of the material it is dedicated to"),
    Key("chamber_type", v.text, "name of the chamber_type it takes"),
    Key("layer_mm", Number("mm", above=0, most=1), "layer thickness"),
    Key("warm_up_min", not_negative("min"), "from closing the door to the first layer"),
    Key("recoat_s", not_negative("s"), "time between layers with nothing to sinter"),
    Key("minimum_layer_s", not_negative("s"), "shortest scan time the machine waits for; 0 for none"),
    Key("hatch_spacing_mm", positive("mm"), "distance between scan lines"),
    Key("hatch_speed_mm_s", positive("mm/s"), "speed along scan lines"),
    Key("contour_speed_mm_s", positive("mm/s"), "speed along outlines"),
    Key("jump_s", not_negative("s"), "time lost for each outline in a layer"),
    Key("end_min", not_negative("min"), "from the last layer to the chamber being released"),
    Key("load_min", minutes(), "hands: chamber in, powder in, check list, start"),
    Key("unload_min", minutes(), "hands: chamber out onto its trolley"),
    Key("minimum_cool_in_machine_min", minutes(), "before the chamber may leave the machine"),
    Key("rate_per_h", not_negative("currency/h"), "what an hour of the machine costs"),
    Key("feed_overflow_fraction", Number("share of powder spread", least=0, most=3),
        "extra powder carried over the edge at each layer"),
    Key("dead_powder_kg", not_negative("kg"), "stays in feed and recoater at the end"),
    OTHERS,
    Key("changeover_min", minutes(), "out of use, empty, when the material changes", 0),
    Key("watched_min", minutes(), "first minutes of a print during which somebody who may start it must be in", 0),
    Key("service_every_h", not_negative("h"), "printed hours between two services; 0 for none", 0.0),
    Key("service_min", minutes(), "out of use, empty, for a service", 0),
    Key("hours_since_service", not_negative("h"), "printed hours since the last service when the plan starts", 0.0),
    NEEDS,
    Key("time_factors", v.four, "times the machine really takes over those above: warm-up and end, recoat, hatch, "
        "outline; learnt from job logs", (1.0, 1.0, 1.0, 1.0)),
    Key("time_spread", share("relative"), "spread of actual over predicted print time; 0: default", 0.0),
    Key("export_scale", v.triple, "scale x, y, z put into the build files; 1 where the machine scales by itself",
        (1.0, 1.0, 1.0)),
    Key("export_offset_mm", v.offsets, "moved outwards per face x, y, z in the build files; below 0 shrinks outlines",
        (0.0, 0.0, 0.0)),
    Key("export_by_place", v.slopes, "change of the export scale along x, y, z (rows) for each mm along chamber x, y, "
        "z from its middle; empty: the same everywhere", ()),
    Key("printing_kw", not_negative("kW"), "mean electric power while printing; 0: not measured", 0.0),
    Key("warm_up_kwh", not_negative("kWh"), "electricity of warm-up; 0: not measured", 0.0),
    Key("gas_m3_per_h", not_negative("m³/h"), "inert gas while printing; 0: not measured", 0.0),
))  # fmt: skip

STATION = Table("station", "stations", m.Station, "A bench, cabinet, bath or gauge.", (
    NAME,
    Key("kind", v.text, "what is done there: unpack, blast, dye, smooth, inspect, pack, or a word of your own"),
    Key("materials", v.texts, "names of the materials allowed there; empty for all", ()),
    Key("capacity_l", not_negative("L"), "volume of a basket or bath; 0 where it does not matter", 0.0),
    Key("clean_down_min", minutes(), "hands to clean an unpack station when the next cake is of another material", 0),
    NEEDS,
))  # fmt: skip

EVERY_WEEKS = Key(
    "every_weeks", Number("weeks", least=1, whole=True), "2 for every second week, counted from first_day", 1
)
FIRST_DAY = Key("first_day", v.day, "a day in a week that counts; needed when every_weeks is above 1", None)

SHIFT = Table("shift", "shifts", m.Shift, "Working hours of a person, local time.", (
    Key("weekdays", v.some_weekdays, "days: mon tue wed thu fri sat sun"),
    Key("start", v.clock, "first minute at work, 'HH:MM'"),
    Key("end", v.clock, "last minute at work, 'HH:MM'"),
    Key("breaks", v.breaks, "pauses such as '12:00-12:30'", ()),
    EVERY_WEEKS,
    FIRST_DAY,
))  # fmt: skip

PERSON = Table("person", "people", m.Person, "Somebody with hands.", (
    NAME,
    Key("skills", v.texts, "what they may do: start, unpack, finish, inspect, pack"),
    Key("absent", v.dates, "days away", ()),
), inner=(SHIFT,))  # fmt: skip

STEP = Table("step", "steps", m.FinishStep, "One step of a finish.", (
    Key("station_kind", v.text, "kind of the station where it is done"),
    Key("minutes", minutes(), "how long a basket or bath takes"),
    Key("staffed_min", minutes(), "part of that which needs hands"),
    Key("per_piece_s", not_negative("s"), "hands for each piece", 0.0),
    Key("wait_min", minutes(), "drying or curing afterwards, without hands", 0),
    Key("weekdays", v.weekdays, "days on which it is run; empty for any day", ()),
    Key("skill", v.text, "skill it needs", "finish"),
    EVERY_WEEKS,
    FIRST_DAY,
    Key("watched", v.yes_no, "true when somebody with the skill must be in while it runs", False),
))  # fmt: skip

FINISH = Table("finish", "finishes", m.Finish, "What happens between break-out and inspection.", (
    NAME,
    Key("flat_price", not_negative("currency"), "consumables for a basket or bath", 0.0),
    Key("face_mm", Number("mm", least=-0.5, most=0.5), "growth of each face by it, below zero what is taken off", 0.0),
), inner=(STEP,))  # fmt: skip

QUALITY_CLASS = Table("class", "classes", m.QualityClass, "Care that a class of work asks for.", (
    NAME,
    Key("refresh_ratio", share("virgin / charge"), "virgin share of the powder charge"),
    Key("weight", positive("-"), "how much a late day of this class matters"),
    Key("inspect_s_per_piece", not_negative("s"), "hands at the gauge for each piece"),
    Key("specimen_min", minutes(), "hands to test the specimens of a build; 0 for no test", 0),
    Key("specimen_wait_min", minutes(), "from the test to its result; nothing of the class is packed before", 0),
    Key("aql", v.aql, "inspect by ISO 2859-1, level II, with this AQL; 0 for zero acceptance", 0.0),
    Key("bad_share", share("-"), "bad share that zero acceptance finds with nine in ten; 0 for the default", 0.0),
))  # fmt: skip

RATES = Table("rates", "rates", m.Rates, "Money, and hands that are not finishing.", many=False, keys=(
    Key("currency", v.text, "short name of the currency"),
    Key("hands_per_h", not_negative("currency/h"), "what an hour of hands costs"),
    Key("fixed_min_per_line", not_negative("min"), "hands for each order line: file check, papers"),
    Key("unpack_min_per_build", not_negative("min"), "hands for each build: cake out, sieve, sweep"),
    Key("unpack_s_per_piece", not_negative("s"), "hands for each piece: find, lift, brush"),
    Key("count_s_per_piece", not_negative("s"), "hands for each piece: count"),
    Key("pack_min_per_line", not_negative("min"), "hands for each order line: bag, label, note"),
    Key("margin", not_negative("share of cost"), "put on top of cost in quotes; 0.25 is a quarter", 0.0),
    Key("price_step", positive("currency"), "quoted prices are rounded up to a multiple of this", 0.01),
    Key("quote_valid_days", Number("days", least=1, whole=True), "how long a quote holds", 30),
    Key("late_price_share", not_negative("share of cost"), "what it costs when a line of weight 1 is late", 0.1),
))  # fmt: skip

NESTING = Table("nesting", "nesting", m.NestingRules, "Clearances and effort of nesting.", many=False, keys=(
    Key("clearance_mm", positive("mm"), "smallest distance from part to part"),
    Key("voxel_mm", Number("mm", least=0.2, most=20), "grid of the search; finer is slower"),
    Key("seconds_per_build", positive("s"), "time to look for a better arrangement"),
    Key("seed", Number("-", least=0, whole=True), "same seed, same arrangement", 1),
    Key("thick_clearance_mm", not_negative("mm"), "wider distance between parts thicker than 8 mm; 0 for none", 0.0),
    Key("cage_below_mm", not_negative("mm"), "pieces shorter than this are printed in cages; 0 for none", 0.0),
    Key("end_weight", not_negative("mm/point"), "worth of a point of the price of its ending hours",
        wishes.WEIGHT_END.value),
    Key("even_area_weight", not_negative("mm/cm²"), "worth of 1 cm² of jumps in area over the limit",
        wishes.WEIGHT_EVENNESS.value),
    Key("crowding_weight", not_negative("mm/cm³"), "worth of 1 cm³ too much in a crowded zone",
        wishes.WEIGHT_CROWDING.value),
    Key("early_weight", not_negative("mm/mm"), "worth of 1 mm of mean top of must-have pieces",
        wishes.WEIGHT_EARLY.value),
    Key("fragile_weight", not_negative("mm/cm³"), "worth of 1 cm³ of heavier parts above delicate ones",
        wishes.WEIGHT_FRAGILE.value),
    Key("together_weight", not_negative("mm/mm"), "worth of 1 mm from the middle of a line, on average",
        wishes.WEIGHT_TOGETHER.value),
    Key("apart_weight", not_negative("mm/mm"), "worth of 1 mm short of 30 mm between look-alikes",
        wishes.WEIGHT_APART.value),
))  # fmt: skip

UTILITY = Table("utility", "utilities", m.Utility, "Power, gas, air, extraction that machines or stations need.", (
    NAME,
    Key("machines_at_once", Number("machines", least=0, whole=True), "machines that may print; 0 for no limit", 0),
))  # fmt: skip

CLOSURE = Table("closure", "closures", m.Closure, "Planned time out of use: maintenance, a visit, a cut of power.", (
    Key("what", v.text, "name of a machine, chamber, station, person or utility"),
    Key("start", v.moment, "first minute, local time, such as 2027-03-08T06:00"),
    Key("end", v.moment, "first minute after it"),
    Key("why", v.free_text, "what for, in a word", ""),
))  # fmt: skip

FAILURES = Table("failures", "failures", m.FailureHistory, "The cell's own record.", many=False, keys=(
    Key("failed", Number("builds", least=0, whole=True), "builds that failed"),
    Key("builds", Number("builds", least=0, whole=True), "builds run"),
))  # fmt: skip

TABLES = (CELL, MATERIAL, CHAMBER_TYPE, CHAMBER, MACHINE, STATION, PERSON, FINISH, QUALITY_CLASS, RATES, NESTING,
          FAILURES, UTILITY, CLOSURE)  # fmt: skip
