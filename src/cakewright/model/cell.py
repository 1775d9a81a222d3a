"""The cell: machines, chambers, stations, people, powder and rates, as written in the cell file."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Protocol, TypeVar
from zoneinfo import ZoneInfo

from cakewright.errors import CellError
from cakewright.sources import wishes


class _Named(Protocol):
    @property
    def name(self) -> str: ...


N = TypeVar("N", bound=_Named)


@dataclass(frozen=True, slots=True)
class Arrival:
    """Virgin powder that comes in on a day (usable from the next midnight on, local time)."""

    day: date
    kg: float


@dataclass(frozen=True, slots=True)
class Material:
    """One powder grade as this cell uses it.

    Densities g/cm³, temperatures °C, conductivity W/(m K), heat capacity J/(kg K). `virgin_kg` and
    `used_kg` are the stock at the start of the plan; `loss_fraction` is the share of the unsintered
    powder that does not come back (crust, dust, hoses). `limits` are printability limits that the cell sets
    itself, by the names of `sources.printability.LIMIT_MEANINGS`.
    """

    name: str
    sintered_density_g_cm3: float
    bed_density_g_cm3: float
    bed_temperature_c: float
    opening_temperature_c: float
    cake_conductivity_w_mk: float
    cake_heat_capacity_j_kgk: float
    virgin_price_per_kg: float
    virgin_kg: float
    used_kg: float
    loss_fraction: float
    minimum_wall_mm: float
    shrink_factor: tuple[float, float, float] = (1.0, 1.0, 1.0)
    solidifying_c: float = 0.0  # where parts solidify on cooling; 0: not known, taken from the bed temperature
    crystallisation_j_kg: float = 0.0  # given off by parts while they solidify; 0: left out
    varies_with_temperature: bool = False  # conductivity and heat capacity rise with temperature
    limits: tuple[tuple[str, float], ...] = ()
    arrivals: tuple[Arrival, ...] = ()


@dataclass(frozen=True, slots=True)
class ChamberType:
    """A size of interchangeable build chamber and how it loses heat.

    `wall_margin_mm` stays free along the side walls, `base_mm` of powder lies under the first part,
    `cover_mm` over the last. `surface_coefficient_w_m2k` is the heat transfer from the cake's skin to
    the room through the chamber wall. `cooling_speed` multiplies conduction and surface coefficient, `cooling_spread`
    (0: default) is the factor of the early and late case: both are learnt from probes.
    """

    name: str
    x_mm: float
    y_mm: float
    z_mm: float
    wall_margin_mm: float
    base_mm: float
    cover_mm: float
    surface_coefficient_w_m2k: float
    clean_min: int
    cooling_speed: float = 1.0
    cooling_spread: float = 0.0

    @property
    def usable_height_mm(self) -> float:
        """Height in which parts may stand."""
        return self.z_mm - self.base_mm - self.cover_mm


@dataclass(frozen=True, slots=True)
class Chamber:
    """One chamber on its trolley, dedicated to a material unless others are allowed after cleaning."""

    name: str
    type: str
    material: str
    other_materials: tuple[str, ...] = ()

    def takes(self, material: str) -> bool:
        """True when the material may be used in it."""
        return material == self.material or material in self.other_materials


@dataclass(frozen=True, slots=True)
class Machine:
    """One laser-sintering machine, dedicated to a material unless others are allowed after a changeover.

    Print time = warm-up + for each layer (recoat + max(minimum layer time, scan)) + end; scan = area /
    (hatch spacing x hatch speed) + contour length / contour speed + part outlines x jump time.

    A changeover keeps the empty machine for `changeover_min`. For the first `watched_min` of a print somebody with the
    skill to start it must be in. A service is due when `service_every_h` hours have been printed since the last one
    (0: never) and keeps the empty machine for `service_min`. `utilities` are what it cannot print without.

    `time_factors` multiply (warm-up and end, recoat, hatch, outline) times and `time_spread` (0: default) is the spread
    of actual over predicted: both are learnt from job logs. `export_scale` and `export_offset_mm` (outwards, per face)
    are put into the build files; `export_by_place` (empty, or a row for x, y, z) is how much each scale changes for
    each mm along chamber x, y, z from the chamber's middle. `printing_kw`, `warm_up_kwh`, `gas_m3_per_h`: what it
    draws, 0 where not measured.
    """

    name: str
    material: str
    chamber_type: str
    layer_mm: float
    warm_up_min: float
    recoat_s: float
    minimum_layer_s: float
    hatch_spacing_mm: float
    hatch_speed_mm_s: float
    contour_speed_mm_s: float
    jump_s: float
    end_min: float
    load_min: int
    unload_min: int
    minimum_cool_in_machine_min: int
    rate_per_h: float
    feed_overflow_fraction: float
    dead_powder_kg: float
    other_materials: tuple[str, ...] = ()
    changeover_min: int = 0
    watched_min: int = 0
    service_every_h: float = 0.0
    service_min: int = 0
    hours_since_service: float = 0.0
    utilities: tuple[str, ...] = ()
    time_factors: tuple[float, float, float, float] = (1.0, 1.0, 1.0, 1.0)
    time_spread: float = 0.0
    export_scale: tuple[float, float, float] = (1.0, 1.0, 1.0)
    export_offset_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    export_by_place: tuple[tuple[float, float, float], ...] = ()
    printing_kw: float = 0.0
    warm_up_kwh: float = 0.0
    gas_m3_per_h: float = 0.0

    def takes(self, material: str) -> bool:
        """True when it may print the material, perhaps after a changeover."""
        return material == self.material or material in self.other_materials


@dataclass(frozen=True, slots=True)
class Station:
    """A bench, cabinet, bath or gauge: does `kind` for the listed materials (empty: all).

    An unpack station used for several materials is cleaned down for `clean_down_min` by whoever unpacks next when the
    material changes.
    """

    name: str
    kind: str
    materials: tuple[str, ...] = ()
    capacity_l: float = 0.0
    clean_down_min: int = 0
    utilities: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Utility:
    """Power, gas, air, extraction: `machines_at_once` is how many machines may print on it (0: no limit)."""

    name: str
    machines_at_once: int = 0


@dataclass(frozen=True, slots=True)
class Closure:
    """Planned time out of use, local time: a machine, chamber, station, person or utility, and why."""

    what: str
    start: datetime
    end: datetime
    why: str = ""


@dataclass(frozen=True, slots=True)
class Shift:
    """Working hours on some weekdays (0 = Monday), local time, with breaks inside.

    With `every_weeks` above 1 only in the week of `first_day` and every so many weeks before and after.
    """

    weekdays: tuple[int, ...]
    start: time
    end: time
    breaks: tuple[tuple[time, time], ...] = ()
    every_weeks: int = 1
    first_day: date | None = None


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody with hands: what they may do and when they are there.

    `until` names the last day of a skill, from the training that is entered; skills that are not in it have no end.
    """

    name: str
    skills: tuple[str, ...]
    shifts: tuple[Shift, ...]
    absent: tuple[date, ...] = ()
    until: tuple[tuple[str, date], ...] = ()

    def last_day(self, skill: str) -> date | None:
        """The last day on which a skill may be used; None without an end."""
        return next((end for known, end in self.until if known == skill), None)

    def may(self, skill: str, day: date) -> bool:
        """True when the skill may be used on that day."""
        end = self.last_day(skill)
        return skill in self.skills and (end is None or day <= end)


@dataclass(frozen=True, slots=True)
class FinishStep:
    """One step of a finish: where, how long for a basket, how much of that needs hands.

    `per_piece_s` is added for each piece; `weekdays` limits the days on which the step is run (empty:
    any day); `wait_min` elapses afterwards without hands (drying, curing). With `every_weeks` above 1 it is run only
    in the week of `first_day` and every so many weeks before and after. While a `watched` step runs, somebody with
    its skill must be in, though their hands are free.
    """

    station_kind: str
    minutes: int
    staffed_min: int
    per_piece_s: float = 0.0
    wait_min: int = 0
    weekdays: tuple[int, ...] = ()
    skill: str = "finish"
    every_weeks: int = 1
    first_day: date | None = None
    watched: bool = False


@dataclass(frozen=True, slots=True)
class Finish:
    """What happens to pieces between break-out and inspection; `flat_price` is per basket or bath.

    `face_mm` is what each face grows by it (below zero: what is taken off), learnt from pieces measured before and
    after.
    """

    name: str
    steps: tuple[FinishStep, ...]
    flat_price: float = 0.0
    face_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class QualityClass:
    """Refresh ratio and care that a class of work asks for.

    With `specimen_min` above 0, specimens of every build that holds the line are tested (hands with the skill to
    inspect) and `specimen_wait_min` later there is a result; before it nothing of the class is packed.

    `aql` above 0 (per cent) inspects by the single sampling plan of ISO 2859-1; else zero acceptance finds `bad_share`
    with nine in ten (0: the default share).
    """

    name: str
    refresh_ratio: float
    weight: float
    inspect_s_per_piece: float
    specimen_min: int = 0
    specimen_wait_min: int = 0
    aql: float = 0.0
    bad_share: float = 0.0


@dataclass(frozen=True, slots=True)
class Rates:
    """Money. Machine rates are with the machines; powder prices with the materials."""

    currency: str
    hands_per_h: float
    fixed_min_per_line: float
    unpack_min_per_build: float
    unpack_s_per_piece: float
    count_s_per_piece: float
    pack_min_per_line: float
    margin: float = 0.0
    price_step: float = 0.01
    quote_valid_days: int = 30
    late_price_share: float = 0.1


@dataclass(frozen=True, slots=True)
class NestingRules:
    """Clearances and effort for nesting.

    `thick_clearance_mm` is kept between thick parts when it is the larger; pieces whose longest side is
    below `cage_below_mm` are printed in cages. The weights say what a unit of each wish is worth in mm of build
    height (`nesting.wishes.Weights`).
    """

    clearance_mm: float
    voxel_mm: float
    seconds_per_build: float
    seed: int = 1
    thick_clearance_mm: float = 0.0
    cage_below_mm: float = 0.0
    end_weight: float = wishes.WEIGHT_END.value
    even_area_weight: float = wishes.WEIGHT_EVENNESS.value
    crowding_weight: float = wishes.WEIGHT_CROWDING.value
    early_weight: float = wishes.WEIGHT_EARLY.value
    fragile_weight: float = wishes.WEIGHT_FRAGILE.value
    together_weight: float = wishes.WEIGHT_TOGETHER.value
    apart_weight: float = wishes.WEIGHT_APART.value


@dataclass(frozen=True, slots=True)
class FailureHistory:
    """Builds that failed among builds run: the cell's own record."""

    failed: int
    builds: int


@dataclass(frozen=True, slots=True)
class Cell:
    """Everything about the place, checked for names that do not exist."""

    name: str
    timezone: str
    room_c: float
    materials: tuple[Material, ...]
    chamber_types: tuple[ChamberType, ...]
    chambers: tuple[Chamber, ...]
    machines: tuple[Machine, ...]
    stations: tuple[Station, ...]
    people: tuple[Person, ...]
    finishes: tuple[Finish, ...]
    classes: tuple[QualityClass, ...]
    rates: Rates
    nesting: NestingRules
    failures: FailureHistory
    holidays: tuple[date, ...] = ()
    source: str = ""
    notes: tuple[str, ...] = field(default=())
    utilities: tuple[Utility, ...] = ()
    closures: tuple[Closure, ...] = ()

    def __post_init__(self) -> None:
        """Names must be unique within their kind, and every name used must exist."""
        for kind in (
            "materials",
            "chamber_types",
            "chambers",
            "machines",
            "stations",
            "people",
            "finishes",
            "classes",
            "utilities",
        ):
            names = [item.name for item in getattr(self, kind)]
            twice = sorted({n for n in names if names.count(n) > 1})
            if twice:
                raise CellError(
                    f"{kind}: {', '.join(twice)} is there twice",
                    remedy="give each its own name",
                    where=self.source,
                )
            if not names and kind not in {"stations", "utilities"}:
                raise CellError(
                    f"the cell has no {kind}",
                    remedy=f"add at least one entry under {kind}",
                    where=self.source,
                )
        materials = {m.name for m in self.materials}
        types = {t.name for t in self.chamber_types}
        for chamber in self.chambers:
            self._known("material", chamber.material, materials, f"chamber {chamber.name}")
            self._known("chamber type", chamber.type, types, f"chamber {chamber.name}")
            for other in chamber.other_materials:
                self._known("material", other, materials, f"chamber {chamber.name}")
        for machine in self.machines:
            self._known("material", machine.material, materials, f"machine {machine.name}")
            self._known("chamber type", machine.chamber_type, types, f"machine {machine.name}")
            for other in machine.other_materials:
                self._known("material", other, materials, f"machine {machine.name}")
        self._check_utilities_and_closures()
        kinds = {s.kind for s in self.stations}
        for finish in self.finishes:
            for step in finish.steps:
                self._known("station kind", step.station_kind, kinds, f"finish {finish.name}")
        try:
            ZoneInfo(self.timezone)
        except (KeyError, ValueError, OSError) as wrong:
            raise CellError(
                f"time zone {self.timezone!r} is not known",
                remedy="use a name such as Europe/Oslo or UTC",
                where=self.source,
            ) from wrong

    def _check_utilities_and_closures(self) -> None:
        utilities = {u.name for u in self.utilities}
        needed = [(m.name, m.utilities) for m in self.machines] + [(s.name, s.utilities) for s in self.stations]
        for user, names in needed:
            for name in names:
                self._known("utility", name, utilities, user)
        named = utilities | {m.name for m in self.machines} | {c.name for c in self.chambers}
        named |= {s.name for s in self.stations} | {p.name for p in self.people}
        for closure in self.closures:
            self._known("machine, chamber, station, person or utility", closure.what, named, "a closure")
            if closure.end <= closure.start:
                raise CellError(
                    f"the closure of {closure.what} ends {closure.end}, before it starts",
                    remedy="exchange start and end",
                    where=self.source,
                )

    def _known(self, what: str, name: str, known: set[str], who: str) -> None:
        if name not in known:
            raise CellError(
                f"{who} names {what} {name!r}, which is not in the file",
                remedy=f"use one of: {', '.join(sorted(known)) or 'none defined'}",
                where=self.source,
            )

    @property
    def zone(self) -> ZoneInfo:
        """The cell's time zone."""
        return ZoneInfo(self.timezone)

    def material(self, name: str) -> Material:
        """The material of that name; CellError when there is none."""
        return _find(self.materials, name, "material", self.source)

    def chamber_type(self, name: str) -> ChamberType:
        """The chamber type of that name; CellError when there is none."""
        return _find(self.chamber_types, name, "chamber type", self.source)

    def machine(self, name: str) -> Machine:
        """The machine of that name; CellError when there is none."""
        return _find(self.machines, name, "machine", self.source)

    def finish(self, name: str) -> Finish:
        """The finish of that name; CellError when there is none."""
        return _find(self.finishes, name, "finish", self.source)

    def quality_class(self, name: str) -> QualityClass:
        """The quality class of that name; CellError when there is none."""
        return _find(self.classes, name, "class", self.source)

    def machines_for(self, material: str) -> tuple[Machine, ...]:
        """Machines dedicated to a material."""
        return tuple(m for m in self.machines if m.material == material)

    def chambers_for(self, material: str, chamber_type: str) -> tuple[Chamber, ...]:
        """Chambers of one size that take a material."""
        return tuple(c for c in self.chambers if c.takes(material) and c.type == chamber_type)


def _find(items: tuple[N, ...], name: str, what: str, where: str) -> N:
    for item in items:
        if item.name == name:
            return item
    known = ", ".join(item.name for item in items)
    raise CellError(f"{what} {name!r} is not in the cell", remedy=f"use one of: {known}", where=where)
