"""Electricity and gas of a build, and whether the figure makes sense: the meter of the cell is the truth."""

from __future__ import annotations

from dataclasses import dataclass

from cakewright.errors import InputError
from cakewright.findings import Finding, Severity
from cakewright.model.build import PrintTime
from cakewright.model.cell import Machine
from cakewright.sources import physics as numbers
from cakewright.units import S_PER_H


def kwh_per_kg(kwh: float, parts_kg: float) -> float:
    """Electricity of a build per kg of parts."""
    if not (kwh >= 0 and parts_kg > 0):
        raise InputError(f"{kwh} kWh for {parts_kg} kg", remedy="energy zero or more, parts above zero")
    return kwh / parts_kg


def energy_findings(kwh: float, parts_kg: float, build: str) -> list[Finding]:
    """A finding when kWh per kg lies outside everything published (Baumers et al. 2011, all processes)."""
    specific = kwh_per_kg(kwh, parts_kg)
    low, high = numbers.ENERGY_LOWEST.value, numbers.ENERGY_HIGHEST.value
    if low <= specific <= high:
        return []
    return [
        Finding(
            "energy.outside-published",
            Severity.NOTE,
            f"{specific:.0f} kWh per kg of parts; published figures run from {low:.0f} to {high:.0f}",
            where=build,
            remedy="check the power figures of the machine, or the mass of the parts (a nearly empty build is dear)",
            value=specific,
            limit=low if specific < low else high,
            unit="kWh/kg",
        )
    ]


@dataclass(frozen=True, slots=True)
class EnergyUse:
    """Electricity and inert gas of one build. `is_measured`: the machine's own figures, not our defaults."""

    warm_up_kwh: float
    printing_kwh: float
    gas_m3: float
    parts_kg: float
    is_measured: bool

    @property
    def kwh(self) -> float:
        """Warm-up and printing together."""
        return self.warm_up_kwh + self.printing_kwh

    @property
    def kwh_per_kg(self) -> float | None:
        """Electricity per kg of parts; None for an empty build."""
        return kwh_per_kg(self.kwh, self.parts_kg) if self.parts_kg > 0 else None

    def share_of(self, part_kg: float) -> tuple[float, float]:
        """(kWh, m³ of gas) of a part by its share of the mass: equal parts equal, all parts together the build."""
        share = part_kg / self.parts_kg if self.parts_kg > 0 else 0.0
        return self.kwh * share, self.gas_m3 * share


def energy_use(print_time: PrintTime, machine: Machine, parts_kg: float) -> EnergyUse:
    """What a build draws: warm-up, then mean power and gas for the hours after it.

    Hours rule, not what is in the build (Baumers et al. 2011, abstract: the purely time-dependent term is the
    largest), so a fuller build needs less per kg. Figures of the machine, else `physics.printing_power` and so on.
    """
    hours = (print_time.total_s - print_time.warm_up_s) / S_PER_H
    return EnergyUse(
        warm_up_kwh=machine.warm_up_kwh or numbers.WARM_UP_ENERGY.value,
        printing_kwh=hours * (machine.printing_kw or numbers.PRINTING_POWER.value),
        gas_m3=print_time.total_s / S_PER_H * (machine.gas_m3_per_h or numbers.INERT_GAS.value),
        parts_kg=parts_kg,
        is_measured=machine.printing_kw > 0 and machine.warm_up_kwh > 0,
    )
