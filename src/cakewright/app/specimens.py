"""Test specimens of a build: limits, values from the bench, and what they say about the lines of the build."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from cakewright.app.authority import Step, require
from cakewright.app.floor_note import day_of, keep
from cakewright.app.specimen_places import SpecimenPlace, asks_for_test, bench_day, specimen_places
from cakewright.errors import InputError
from cakewright.findings import Finding
from cakewright.model.build import Build
from cakewright.model.floor import FloorKind, FloorRecord, Value
from cakewright.model.plan import WeekPlan
from cakewright.quality.specimens import Limit, check_directions, check_drift, check_release
from cakewright.sources.floor import SPECIMENS_NEEDED
from cakewright.store import Store

QUANTITIES = {  # what is usually tested: unit
    "tensile strength": "MPa",
    "tensile modulus": "MPa",
    "elongation at break": "%",
    "density": "g/cm³",
}


@dataclass(frozen=True, slots=True)
class SpecimenValue:
    """One value from the bench; `along` is the axis of the bar in the build, '' when the piece is not known."""

    build: str
    piece: str
    quantity: str
    value: float
    unit: str
    along: str
    standard: str
    condition: str
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class SpecimenSet:
    """Everything about the specimens of one build.

    `is_asked` when a line of the build wants the test. `findings` say why it is not passed (empty: passed, when
    asked), `doubts` what is unusual without holding anything.
    """

    build: str
    material: str
    is_asked: bool
    places: tuple[SpecimenPlace, ...]
    test_planned: datetime | None
    result_planned: datetime | None
    booked: str
    limits: tuple[Limit, ...]
    values: tuple[SpecimenValue, ...]
    findings: tuple[Finding, ...]
    doubts: tuple[Finding, ...]

    @property
    def is_tested(self) -> bool:
        """True when there are limits and enough values for each."""
        return bool(self.limits) and not any(f.code == "quality.specimens-missing" for f in self.findings)

    @property
    def is_passed(self) -> bool:
        """True when there are limits, enough values, and none below its limit."""
        return bool(self.limits) and not self.findings


def specimen_set(store: Store, plan: WeekPlan, build: Build) -> SpecimenSet:
    """The specimens of a build as they stand now."""
    places = specimen_places(plan, build)
    asked = any(asks_for_test(plan, n) for n in build.lines)
    limits = limits_for(store, build.material)
    records = store.floor.records(plan=plan.version, build=build.key, kind=FloorKind.SPECIMEN)
    values = _last_values(records)
    booked = next((str(r.data["day"]) for r in reversed(records) if r.data["deed"] == "booked"), "")
    test, result = bench_day(plan, build.key)
    return SpecimenSet(build.key, build.material, asked, places, test, result, booked, limits, values,
                       _findings(build.key, limits, values), _doubts(store, plan, build, values))  # fmt: skip


def limits_for(store: Store, material: str) -> tuple[Limit, ...]:
    """The least values that specimens of a material must reach, as somebody entered them last."""
    found: dict[str, Limit] = {}
    for r in store.floor.records(kind=FloorKind.SPECIMEN):
        if r.data["deed"] == "limit" and r.data["material"] == material:
            name = str(r.data["quantity"])
            found[name.casefold()] = Limit(name, float(r.data["least"]), str(r.data["unit"]))
    return tuple(found.values())


def enter_limit(
    store: Store, plan: WeekPlan, *, material: str, quantity: str, least: float, unit: str, by: str, at: datetime,
    uid: str = "", kept_at: datetime | None = None,
) -> FloorRecord:  # fmt: skip
    """Enter the least value of a property for a material. InputError for a strange material or without authority."""
    known = [m.name for m in plan.cell.materials]
    if material not in known:
        raise InputError(f"{material[:40]!r} is no material of the cell", remedy=f"one of: {', '.join(known)}")
    if not quantity.strip() or not unit.strip():
        raise InputError("property or unit is missing", remedy="for example 'elongation at break' in %")
    if not least > 0:
        raise InputError(f"a limit of {least:g}", remedy="give a value above zero", where="least")
    require(store, by, Step.RELEASE_PARTS, at.date())
    data: dict[str, Value] = {"deed": "limit", "material": material, "quantity": quantity.strip(), "least": least,
                              "unit": unit.strip()}  # fmt: skip
    return keep(store, plan, FloorKind.SPECIMEN, data, by=by, at=at, uid=uid, kept_at=kept_at)


def enter_value(
    store: Store, plan: WeekPlan, build: Build, *, piece: str, quantity: str, value: float, by: str, at: datetime,
    unit: str = "", standard: str = "", condition: str = "", uid: str = "", kept_at: datetime | None = None,
) -> FloorRecord:  # fmt: skip
    """Keep one value of one specimen. InputError for a piece that is no specimen of the build, or another unit."""
    places = {p.piece: p for p in specimen_places(plan, build)}
    if piece not in places:
        known = ", ".join(places) or "none: no line of it is flagged 'witness'"
        raise InputError(f"{build.key} has no specimen {piece[:40]!r}", remedy=f"its specimens: {known}", where="piece")
    if not quantity.strip():
        raise InputError("the property has no name", remedy="for example 'elongation at break'")
    if not value >= 0:
        raise InputError(f"a value of {value:g}", remedy="a reading is zero or more", where="value")
    limit = next((m for m in limits_for(store, build.material) if m.quantity.casefold() == quantity.strip().casefold()),
                 None)  # fmt: skip
    the_unit = unit.strip() or (limit.unit if limit else QUANTITIES.get(quantity.strip().casefold(), ""))
    if limit is not None and the_unit != limit.unit:
        raise InputError(f"{quantity} in {the_unit}, its limit is in {limit.unit}", remedy="enter it in that unit")
    require(store, by, Step.INSPECT, at.date())
    data: dict[str, Value] = {
        "deed": "value", "material": build.material, "quantity": quantity.strip(), "value": value, "unit": the_unit,
        "along": places[piece].along, "standard": standard.strip(), "condition": condition.strip(),
    }  # fmt: skip
    return keep(store, plan, FloorKind.SPECIMEN, data, by=by, at=at, build=build.key, line=places[piece].line,
                piece=piece, uid=uid, kept_at=kept_at)  # fmt: skip


def book_bench(
    store: Store, plan: WeekPlan, build: Build, *, day: str, by: str, at: datetime, uid: str = "",
    kept_at: datetime | None = None,
) -> FloorRecord:  # fmt: skip
    """Book the day on which the specimens of a build are tested."""
    data: dict[str, Value] = {"deed": "booked", "day": day_of(day, "bench day").isoformat()}
    return keep(store, plan, FloorKind.SPECIMEN, data, by=by, at=at, build=build.key, uid=uid, kept_at=kept_at)


def history(store: Store, material: str) -> dict[str, list[tuple[str, float]]]:
    """For each property the mean of every build of a material, in order of time: what drift is judged by."""
    grouped: dict[str, dict[str, list[float]]] = {}
    for r in store.floor.records(kind=FloorKind.SPECIMEN):
        if r.data["deed"] == "value" and r.data["material"] == material:
            key = f"{r.plan}-{r.build}"
            grouped.setdefault(str(r.data["quantity"]).casefold(), {}).setdefault(key, []).append(
                float(r.data["value"])
            )
    return {name: [(key, sum(v) / len(v)) for key, v in builds.items()] for name, builds in grouped.items()}


def _last_values(records: Iterable[FloorRecord]) -> tuple[SpecimenValue, ...]:
    found: dict[tuple[str, str], SpecimenValue] = {}
    for r in records:
        if r.data["deed"] == "value":
            d = r.data
            found[r.piece, str(d["quantity"]).casefold()] = SpecimenValue(
                r.build, r.piece, str(d["quantity"]), float(d["value"]), str(d["unit"]), str(d["along"]),
                str(d["standard"]), str(d["condition"]), r.by, r.at,
            )  # fmt: skip
    return tuple(found.values())


def _findings(build: str, limits: Sequence[Limit], values: Sequence[SpecimenValue]) -> tuple[Finding, ...]:
    said: list[Finding] = []
    for limit in limits:
        mine = [v.value for v in values if v.quantity.casefold() == limit.quantity.casefold()]
        said += check_release(build, mine, limit, needed=int(SPECIMENS_NEEDED.value))
    return tuple(said)


def _doubts(store: Store, plan: WeekPlan, build: Build, values: Sequence[SpecimenValue]) -> tuple[Finding, ...]:
    said: list[Finding] = []
    here = f"{plan.version}-{build.key}"
    if values:
        for name, means in history(store, build.material).items():
            before = [mean for key, mean in means if key != here]
            now = [mean for key, mean in means if key == here]
            drift = check_drift(name, before, now)
            said += [drift] if drift else []
    by_axis = {q: _by_axis(values, q) for q in ("tensile strength", "tensile modulus")}
    if all(len(v) >= 2 for v in by_axis.values()):
        said += check_directions(by_axis["tensile strength"], by_axis["tensile modulus"])
    return tuple(said)


def _by_axis(values: Iterable[SpecimenValue], quantity: str) -> dict[str, float]:
    found: dict[str, list[float]] = {}
    for v in values:
        if v.quantity.casefold() == quantity and v.value > 0:
            found.setdefault(v.along, []).append(v.value)
    return {axis: sum(v) / len(v) for axis, v in found.items()}
