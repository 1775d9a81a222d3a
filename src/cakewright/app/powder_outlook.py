"""Virgin and used powder over the coming weeks at the pace of a plan: what runs out, what fills up, and why."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np

from cakewright.documents.timeline import hours_of
from cakewright.errors import InputError
from cakewright.findings import Finding, Severity
from cakewright.model.build import Build
from cakewright.model.plan import WeekPlan
from cakewright.powder.advice import Advice, ClassLoad, Loop, balance_advice, one_step
from cakewright.powder.stock import Delivery, Projection, WeekDemand, project_stock
from cakewright.sources.powder import DEMAND_SPREAD, SUPPLIER_LEAD_WEEKS
from cakewright.units import MM3_PER_CM3

DAYS_PER_WEEK = 7


@dataclass(frozen=True, slots=True)
class BuildBalance:
    """One build against its break-even: what the used stock gains (kg)."""

    build: str
    charge_kg: float
    refresh_ratio: float
    break_even_ratio: float
    surplus_kg: float


@dataclass(frozen=True, eq=False)
class Outlook:
    """The coming weeks of one material. `steps`: a point more density, a point less refresh."""

    material: str
    virgin_kg: float
    used_kg: float
    builds: tuple[BuildBalance, ...]
    charge_kg_per_week: float
    refresh_ratio: float
    break_even_ratio: float
    loop: Loop
    advice: tuple[Advice, ...]
    steps: tuple[Advice, ...]
    projection: Projection
    weeks: int
    lead_weeks: int
    order_by: date | None
    used_full: date | None
    used_place_kg: float

    @property
    def surplus_kg_per_week(self) -> float:
        """What the used stock gains in a week at this pace."""
        return (self.refresh_ratio - self.break_even_ratio) * self.charge_kg_per_week

    @property
    def month_surplus_kg(self) -> float:
        """The same over a month of 30.4 days."""
        return self.surplus_kg_per_week * 365.25 / 12 / DAYS_PER_WEEK


def outlook(
    plan: WeekPlan,
    material: str,
    *,
    virgin_kg: float,
    used_kg: float,
    today: date,
    weeks: int = 8,
    lead_weeks: int = round(SUPPLIER_LEAD_WEEKS.value),
    deliveries: Sequence[Delivery] = (),
    used_place_kg: float = math.inf,
    density: float | None = None,
    refresh_ratio: float | None = None,
    seed: int = 1,
) -> Outlook:
    """Project the stock of a material if the coming weeks were like the plan.

    `density` (packing of the whole cake) and `refresh_ratio` replace those of the plan, to see what they
    would do. InputError when the plan has no build of the material.
    """
    builds = [b for b in plan.builds if b.material == material]
    if not builds:
        raise InputError(
            f"the plan has no build of {material}", remedy="choose a material that is printed in this plan"
        )
    now, loop = _loop(plan, builds, None, None), _loop(plan, builds, density, refresh_ratio)
    # what the builds need, moved by what the change does in the closed form
    charge = sum(b.powder.charge_kg for b in builds) / plan_weeks(plan, builds) * loop.charge_kg / now.charge_kg
    ratio = _mean(builds, "refresh_ratio") + loop.refresh_ratio - now.refresh_ratio
    level = min(1.0, max(0.0, _mean(builds, "break_even_ratio") + loop.break_even - now.break_even))
    demand = [WeekDemand(charge, DEMAND_SPREAD.value * charge, ratio, level)] * weeks
    projection = project_stock(
        virgin_kg=virgin_kg,
        used_kg=used_kg,
        weeks=demand,
        rng=np.random.default_rng(seed),
        deliveries=deliveries,
        lead_weeks=lead_weeks,
        used_capacity_kg=used_place_kg,
    )
    order, full = projection.order_by_week, projection.used_full_week
    return Outlook(
        material=material,
        virgin_kg=virgin_kg,
        used_kg=used_kg,
        builds=tuple(
            BuildBalance(
                b.key,
                b.powder.charge_kg,
                b.powder.refresh_ratio,
                b.powder.break_even_ratio,
                b.powder.surplus_kg,
            )
            for b in builds
        ),
        charge_kg_per_week=charge,
        refresh_ratio=ratio,
        break_even_ratio=level,
        loop=loop,
        advice=balance_advice(loop),
        steps=one_step(loop) if loop.refresh_ratio > 0.01 else (),
        projection=projection,
        weeks=weeks,
        lead_weeks=lead_weeks,
        order_by=None if order is None else today + timedelta(days=DAYS_PER_WEEK * max(order, 0)),
        used_full=None if full is None else today + timedelta(days=DAYS_PER_WEEK * (full + 1)),
        used_place_kg=used_place_kg,
    )


def coming_deliveries(text: str) -> tuple[Delivery, ...]:
    """Deliveries on their way as people write them: '20@3 10@5' is 20 kg in week 3 and 10 kg in week 5."""
    found = []
    for word in text.replace(",", " ").replace(";", " ").split():
        kg, at, week = word.partition("@")
        try:
            delivery = Delivery(int(week) - 1, float(kg))
        except ValueError:
            delivery = Delivery(-1, 0.0)
        if not at or delivery.week < 0 or not 0 < delivery.kg < math.inf:
            raise InputError(f"{word!r} is no delivery", remedy="write 20@3 for 20 kg in week 3", where="coming")
        found.append(delivery)
    return tuple(found)


def plan_weeks(plan: WeekPlan, builds: Sequence[Build]) -> float:
    """How many weeks of work the loads of these builds spread over; at least one."""
    loads = [load for b in builds if (load := hours_of(plan, b).load) is not None]
    if len(loads) < 2:
        return 1.0
    return max(1.0, (max(loads) - min(loads)) / timedelta(days=DAYS_PER_WEEK))


def powder_findings(plan: WeekPlan) -> tuple[Finding, ...]:
    """Where the stock of the cell does not reach for a build, and by when virgin powder has to be ordered."""
    found: list[Finding] = []
    for material in plan.cell.materials:
        builds = [b for b in plan.builds if b.material == material.name]
        if not builds:
            continue
        found += _short(plan, builds, material.virgin_kg, material.used_kg)
        seen = outlook(
            plan, material.name, virgin_kg=material.virgin_kg, used_kg=material.used_kg,
            today=plan.start.astimezone(plan.cell.zone).date(),
        )  # fmt: skip
        if seen.order_by is not None and seen.order_by <= _last_load(plan, builds):
            found.append(
                Finding(
                    "powder.order-by",
                    Severity.WARNING,
                    f"at {seen.charge_kg_per_week:.1f} kg a week, {seen.refresh_ratio:.0%} of it virgin, "
                    f"{seen.virgin_kg:.1f} kg of {material.name} run out before a delivery of "
                    f"{seen.lead_weeks} weeks arrives",
                    where=material.name,
                    remedy=f"order virgin powder by {seen.order_by:%d %b %Y}",
                )
            )
    return tuple(found)


def with_powder_findings(plan: WeekPlan) -> WeekPlan:
    """The plan with what `powder_findings` says about it."""
    return replace(plan, findings=(*plan.findings, *powder_findings(plan)))


def _last_load(plan: WeekPlan, builds: Sequence[Build]) -> date:
    loads = [load for b in builds if (load := hours_of(plan, b).load) is not None]
    return max(loads, default=plan.start).astimezone(plan.cell.zone).date()


def _short(plan: WeekPlan, builds: Sequence[Build], virgin: float, used: float) -> list[Finding]:
    """Walk through loads and break-outs in time; the first time that each kind of powder is short is told."""
    events: list[tuple[datetime, str, float, float]] = []
    for build in builds:
        hours, need = hours_of(plan, build), build.powder
        if hours.load is not None:
            events.append((hours.load, build.key, -need.virgin_kg, -need.used_kg))
        if hours.unpack is not None:
            events.append((hours.unpack, build.key, 0.0, need.back_kg))
    found: list[Finding] = []
    told: set[str] = set()
    for _at, key, new, old in sorted(events):
        virgin, used = virgin + new, used + old
        for kind, left, code in (("virgin", virgin, "powder.virgin-short"), ("used", used, "powder.used-short")):
            if left < 0 and kind not in told:
                told.add(kind)
                found.append(_short_finding(code, kind, key, -left))
    return found


def _short_finding(code: str, kind: str, build: str, missing_kg: float) -> Finding:
    if kind == "virgin":
        remedy = "get a drum, put fewer fine lines into it, or make it lower"
    else:
        remedy = "take virgin powder for the rest, or load it after the next break-out"
    text = f"not enough {kind} powder for build {build}: {missing_kg:.1f} kg missing"
    return Finding(code, Severity.WARNING, text, where=build, remedy=remedy)


def _mean(builds: Sequence[Build], name: str) -> float:
    """Mean of a ratio over builds by charge."""
    charge = sum(b.powder.charge_kg for b in builds)
    return float(sum(getattr(b.powder, name) * b.powder.charge_kg for b in builds) / charge)


def _loop(plan: WeekPlan, builds: Sequence[Build], density: float | None, ratio: float | None) -> Loop:
    material = plan.cell.material(builds[0].material)
    pace = plan_weeks(plan, builds)
    parts_kg = sum(b.powder.in_parts_kg for b in builds) / pace
    cake_mm3 = sum(_cake_mm3(plan, b) for b in builds)
    parts_mm3 = sum(b.powder.in_parts_kg for b in builds) * 1000 / material.sintered_density_g_cm3 * MM3_PER_CM3
    charge = sum(b.powder.charge_kg for b in builds)
    overflow = sum(plan.cell.machine(b.machine).feed_overflow_fraction * b.powder.charge_kg for b in builds) / charge
    classes = [_class_loads(plan, b) for b in builds]
    loads = {
        name: sum(share.get(name, 0.0) * b.powder.charge_kg for share, b in zip(classes, builds, strict=True)) / charge
        for name in sorted({n for share in classes for n in share})
    }
    asked = {c.name: c.refresh_ratio for c in plan.cell.classes}
    scale = 1.0 if ratio is None else ratio / max(sum(asked[n] * s for n, s in loads.items()), 1e-9)
    total = sum(loads.values())
    return Loop(
        parts_kg_per_week=parts_kg,
        packing_density=parts_mm3 / cake_mm3 if density is None else density,
        classes=tuple(ClassLoad(n, min(1.0, asked[n] * scale), s / total) for n, s in loads.items()),
        sintered_density_g_cm3=material.sintered_density_g_cm3,
        bed_density_g_cm3=material.bed_density_g_cm3,
        loss_fraction=material.loss_fraction,
        overflow_fraction=overflow,
        virgin_price_per_kg=material.virgin_price_per_kg,
        dead_kg_per_week=sum(plan.cell.machine(b.machine).dead_powder_kg for b in builds) / pace,
    )


def _cake_mm3(plan: WeekPlan, build: Build) -> float:
    chamber = plan.cell.chamber_type(build.chamber_type)
    return chamber.x_mm * chamber.y_mm * (build.nest.height_mm + chamber.base_mm + chamber.cover_mm)


def _class_loads(plan: WeekPlan, build: Build) -> dict[str, float]:
    """A mixed build is charged as its most demanding class asks: the whole of it counts to that class."""
    asked = [plan.cell.quality_class(plan.line(n).quality_class) for n in build.lines]
    return {max(asked, key=lambda c: c.refresh_ratio).name: 1.0}
